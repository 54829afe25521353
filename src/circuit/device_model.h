// SPDX-License-Identifier: GPL-3.0-or-later
/// @file device_model.h Kinds of `.model` and the parameters each may have.
#ifndef TL_CIRCUIT_DEVICE_MODEL_H
#define TL_CIRCUIT_DEVICE_MODEL_H

#include <stdbool.h>
#include <stddef.h>

/// A kind of model.
typedef struct {
    const char* name;              ///< as ngspice writes it: "npn"
    char element;                  ///< the kind of element that uses it
    const char* const* parameters; ///< all that ngspice 39 has for it, ended by NULL
    double highest_level;
} tl_model_type;

/// The kind of that name, or NULL.
const tl_model_type* tl_model_type_find(const char* name);
const char* const* tl_model_type_names(size_t* count);
/// Whether a parameter that a type does not have is one that other programs write into models, and
/// that can be left out: notes for people, and effects that ngspice's model does not have.
bool tl_model_is_extra(const char* name);
/// Our own copy of a parameter's name, or NULL when the type has none such.
const char* tl_model_type_parameter(const tl_model_type* type, const char* name);

#endif
