// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build_bill.h The bill of materials of a build.
#ifndef TL_STUDY_BUILD_BILL_H
#define TL_STUDY_BUILD_BILL_H

#include "study/build_price.h"
#include "toneload/build.h"
#include "toneload/error.h"

// What is taken where a rig does not say; all of it is printed with the answer.
#define TL_BILL_SPACING_M 0.12 ///< common practice: a tie about every 100 to 150 mm
#define TL_BILL_SPARES 0.05    ///< from memory: of small parts some are lost or spoilt
#define TL_BILL_WASTE 0.10     ///< from memory: offcuts of a sheet cut into rectangles

/// How a lead's end is joined to its plug.
typedef enum { TL_JOINT_UNKNOWN, TL_JOINT_SOLDERED, TL_JOINT_CLAMPED, TL_JOINTS } tl_joint_kind;

/// What a build's lead does not tell of itself.
typedef struct {
    size_t make; ///< the first lead of the same make
    tl_joint_kind from;
    tl_joint_kind to;
} tl_bill_lead;

/// What a bill goes by.
typedef struct {
    double spacing_m; ///< from one tie mount to the next
    double spares;    ///< share of plugs, mounts and ties
    double waste;     ///< share of fastener
    double reel_m;    ///< leads are bought on reels of that; NAN: not said
    const tl_bill_lead* leads;
    const tl_price_item* known; ///< items of boards in general; names that a price file may have
    size_t known_count;
} tl_bill_terms;

/// Fills in lines, reels and totals. `prices`: the price file, or NULL. TL_BAD_INPUT when it cannot
/// be used; TL_FAILURE when GLPK is needed and cannot be loaded.
tl_status tl_bill_fill(tl_build* build, const tl_bill_terms* terms, const char* prices,
                       tl_error* error);
/// Frees what that filled in.
void tl_bill_clear(tl_build* build);

/// Mounts along a lead so that no stretch of it is longer than the spacing: its plugs hold its
/// ends.
size_t tl_bill_mounts(double route_m, double spacing_m);

/// Leads are cut to whole millimetres: rounded up.
uint64_t tl_bill_mm(double m);

/// A line of the bill in the making.
typedef struct {
    char* alias; ///< another name for the item, or NULL
    tl_unit unit;
    uint64_t need; ///< in mm, mm2 or pieces
} tl_bill_item;

/// A bill in the making.
typedef struct {
    tl_build* build;
    const tl_bill_terms* terms;
    tl_bill_item* items; ///< by line
    size_t* lead_lines;  ///< by lead; TL_BUILD_NONE: its length is not known
} tl_bill_work;

/// Looks up the prices in a file (NULL: none), decides what to buy and adds up.
tl_status tl_bill_buy(const tl_bill_work* work, const char* path, tl_error* error);

#endif
