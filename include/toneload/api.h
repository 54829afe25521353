// SPDX-License-Identifier: GPL-3.0-or-later
/// @file api.h What every public header needs: the mark of an exported function; and the version.
#ifndef TONELOAD_API_H
#define TONELOAD_API_H

#if defined(__GNUC__)
#define TL_API __attribute__((visibility("default")))
#define TL_PRINTF(fmt, args) __attribute__((format(printf, fmt, args)))
#else
#define TL_API
#define TL_PRINTF(fmt, args)
#endif

/// The version of the library, such as "0.1.0".
TL_API const char* tl_version(void);

#endif
