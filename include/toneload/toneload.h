// SPDX-License-Identifier: GPL-3.0-or-later
/// @file toneload.h All of libtoneload.
#ifndef TONELOAD_TONELOAD_H
#define TONELOAD_TONELOAD_H

#include "toneload/accept.h"
#include "toneload/answer.h"
#include "toneload/api.h"
#include "toneload/bench.h"
#include "toneload/build.h"
#include "toneload/card.h"
#include "toneload/design.h"
#include "toneload/dress.h"
#include "toneload/error.h"
#include "toneload/fit.h"
#include "toneload/measured.h"
#include "toneload/meter.h"
#include "toneload/noise.h"
#include "toneload/parts.h"
#include "toneload/power.h"
#include "toneload/report.h"
#include "toneload/response.h"
#include "toneload/rig.h"
#include "toneload/show.h"
#include "toneload/sound.h"
#include "toneload/spread.h"
#include "toneload/study.h"
#include "toneload/wav.h"

#endif
