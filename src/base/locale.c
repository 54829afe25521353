// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/locale.h"

tl_locale tl_locale_plain(void) {
    tl_locale locale = {newlocale(LC_ALL_MASK, "C", (locale_t)0), (locale_t)0};
    if (locale.plain)
        locale.before = uselocale(locale.plain);
    return locale;
}

void tl_locale_restore(tl_locale locale) {
    if (!locale.plain)
        return;
    uselocale(locale.before);
    freelocale(locale.plain);
}
