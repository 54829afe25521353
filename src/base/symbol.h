// SPDX-License-Identifier: GPL-3.0-or-later
/// @file symbol.h Routines of libraries that are loaded only when they are needed.
#ifndef TL_BASE_SYMBOL_H
#define TL_BASE_SYMBOL_H

#include <stdbool.h>

/// Puts the address of a symbol into a pointer to a function or an object, as POSIX has it done.
/// False when the library has none of that name.
bool tl_symbol_find(void* library, const char* name, void* pointer);

#endif
