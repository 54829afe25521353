// SPDX-License-Identifier: GPL-3.0-or-later
#include "circuit/device_model.h"

#include <string.h>

// The lists are those of ngspice 39 itself (its command `devhelp`), without what belongs to
// self-heating and to limits that only print warnings.
static const char* const diode[] = {
    "level", "is",  "js",   "jsw",  "tnom", "tref",   "rs",   "trs",    "trs1", "trs2",
    "n",     "ns",  "tt",   "ttt1", "ttt2", "cjo",    "cj0",  "cj",     "vj",   "pb",
    "m",     "mj",  "tm1",  "tm2",  "cjp",  "cjsw",   "php",  "mjsw",   "ikf",  "ik",
    "ikr",   "nbv", "area", "pj",   "tlev", "tlevc",  "eg",   "xti",    "cta",  "ctc",
    "ctp",   "tpb", "tvj",  "tphp", "jtun", "jtunsw", "ntun", "xtitun", "keg",  "kf",
    "af",    "fc",  "fcs",  "bv",   "ibv",  "ib",     "tcv",  "isr",    "nr",   NULL};
static const char* const bipolar[] = {
    "level", "subs", "tnom",  "tref",     "is",  "ibe",  "ibc",  "bf",  "nf",    "vaf",  "va",
    "ikf",   "ik",   "ise",   "c2",       "ne",  "br",   "nr",   "var", "vb",    "ikr",  "isc",
    "c4",    "nc",   "rb",    "irb",      "rbm", "re",   "rc",   "cje", "vje",   "pe",   "mje",
    "me",    "tf",   "xtf",   "vtf",      "itf", "ptf",  "cjc",  "vjc", "pc",    "mjc",  "mc",
    "xcjc",  "tr",   "cjs",   "csub",     "ccs", "vjs",  "ps",   "mjs", "ms",    "xtb",  "eg",
    "xti",   "fc",   "kf",    "af",       "iss", "ns",   "rco",  "vo",  "gamma", "qco",  "nkf",
    "nk",    "tlev", "tlevc", "trb1",     "trb", "trb2", "trc1", "trc", "trc2",  "tre1", "tre",
    "tre2",  "trm1", "trm2",  "quasimod", "vg",  "cn",   "d",    NULL};
static const char* const junction_fet[] = {
    "level", "vt0", "vto", "beta", "lambda", "rd",     "rs",    "cgs", "cgd",
    "pb",    "is",  "fc",  "b",    "tnom",   "tcv",    "vtotc", "bex", "betatce",
    "xti",   "eg",  "kf",  "af",   "nlev",   "gdsnoi", NULL};
static const char* const mos_fet[] = {
    "level",  "vto", "vt0", "kp",    "gamma", "phi",   "lambda", "rd",    "rs",    "cbd",
    "cbs",    "is",  "pb",  "cgso",  "cgdo",  "cgbo",  "rsh",    "cj",    "mj",    "cjsw",
    "mjsw",   "js",  "tox", "ld",    "u0",    "uo",    "fc",     "nsub",  "tpg",   "nss",
    "tnom",   "kf",  "af",  "delta", "uexp",  "ucrit", "vmax",   "xj",    "neff",  "nfs",
    "delvto", "xl",  "wd",  "xw",    "xd",    "alpha", "eta",    "theta", "kappa", NULL};
static const char* const voltage_switch[] = {"vt", "vh", "ron", "roff", NULL};
static const char* const resistor[] = {"tc1", "tc2", "tnom", NULL};

static const tl_model_type types[] = {
    {"d", 'd', diode, 1},          {"npn", 'q', bipolar, 1},       {"pnp", 'q', bipolar, 1},
    {"njf", 'j', junction_fet, 1}, {"pjf", 'j', junction_fet, 1},  {"nmos", 'm', mos_fet, 3},
    {"pmos", 'm', mos_fet, 3},     {"sw", 's', voltage_switch, 0}, {"r", 'r', resistor, 0},
    {"c", 'c', resistor, 0},       {"l", 'l', resistor, 0},
};

enum { TYPES = sizeof types / sizeof *types };

const tl_model_type* tl_model_type_find(const char* name) {
    for (size_t i = 0; i < TYPES; ++i)
        if (strcmp(types[i].name, name) == 0)
            return &types[i];
    return NULL;
}

const char* const* tl_model_type_names(size_t* count) {
    static const char* const names[] = {"d",    "npn", "pnp", "njf", "pjf", "nmos",
                                        "pmos", "sw",  "r",   "c",   "l"};
    *count = sizeof names / sizeof *names;
    return names;
}

const char* tl_model_type_parameter(const tl_model_type* type, const char* name) {
    for (size_t i = 0; type->parameters[i]; ++i)
        if (strcmp(type->parameters[i], name) == 0)
            return type->parameters[i];
    return NULL;
}

bool tl_model_is_extra(const char* name) {
    static const char* const extras[] = {
        "mfg", "type",  "vpk", "iave", "irms", "vceo",  "icrating", "vds", "qg",
        "ron", "isr",   "nr",  "n",    "m",    "alpha", "vk",       "iss", "imelt",
        "xtr", "gleak", "rco", "trs1", "trs2", "nk",    "gdscoef"};
    for (size_t i = 0; i < sizeof extras / sizeof *extras; ++i)
        if (strcmp(extras[i], name) == 0)
            return true;
    return false;
}
