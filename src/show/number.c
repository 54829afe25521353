// SPDX-License-Identifier: GPL-3.0-or-later
#include "show/number.h"
#include "base/locale.h"

#include <math.h>

void tl_number_add(tl_text* text, double number) {
    if (!isfinite(number))
        return;
    tl_locale locale = tl_locale_plain();
    tl_text_addf(text, "%.10g", number);
    tl_locale_restore(locale);
}
