// SPDX-License-Identifier: GPL-3.0-or-later
/// @file json.h Fields of a JSON object, for the files that write answers as JSON.
#ifndef TL_SHOW_JSON_H
#define TL_SHOW_JSON_H

#include "toneload/show.h"

/// Puts a value into an object, which has it from then on.
void tl_json_put(json_t* to, const char* field, json_t* value);
/// The same as tl_json_number(), null for NAN and infinities.
void tl_json_put_number(json_t* to, const char* field, double number);
/// The same as tl_json_words(), null for NULL.
void tl_json_put_words(json_t* to, const char* field, const char* words);
void tl_json_put_count(json_t* to, const char* field, size_t count);

#endif
