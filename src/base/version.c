// SPDX-License-Identifier: GPL-3.0-or-later
#include "toneload/api.h"

const char* tl_version(void) {
    return TL_VERSION;
}
