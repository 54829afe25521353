// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/symbol.h"

#include <dlfcn.h>
#include <string.h>

bool tl_symbol_find(void* library, const char* name, void* pointer) {
    void* address = dlsym(library, name);
    memcpy(pointer, &address, sizeof address);
    return address != NULL;
}
