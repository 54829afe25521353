// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/card.h"

const char* tl_grade_words(tl_grade grade) {
    return grade == TL_GRADE_PASS       ? "pass"
           : grade == TL_GRADE_MARGINAL ? "marginal"
           : grade == TL_GRADE_FAIL     ? "fail"
                                        : "";
}
