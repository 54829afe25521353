// SPDX-License-Identifier: GPL-3.0-or-later
/// @file locale.h Numbers that read the same whatever country the host program is set to.
#ifndef TL_BASE_LOCALE_H
#define TL_BASE_LOCALE_H

#include <locale.h>

/// The locale a thread had before ours took its place.
typedef struct {
    locale_t plain;
    locale_t before;
} tl_locale;

/// Makes a point the decimal mark in this thread, since a host may have set a comma; undo with
/// tl_locale_restore(). Every function of the public headers that reads or writes numbers does so.
tl_locale tl_locale_plain(void);
void tl_locale_restore(tl_locale locale);

#endif
