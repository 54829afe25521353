// SPDX-License-Identifier: GPL-3.0-or-later
/// @file fit_network.h What stands between a pickup and the meter: controls, a cable, a load.
#ifndef TL_STUDY_FIT_NETWORK_H
#define TL_STUDY_FIT_NETWORK_H

#include "study/fit_model.h"
#include "toneload/parts.h"

typedef struct tl_fit_network tl_fit_network;

/// Reads what was said of it. Wherever an impedance is measured, it is at the jack that the load
/// hangs on; a response is read as an amp's is, at its grid when there is one.
tl_status tl_fit_network_new(tl_library* library, const tl_fit_options* options,
                             tl_measured_kind kind, tl_fit_network** network, tl_error* error);
void tl_fit_network_free(tl_fit_network* network);

/// The two-port it is at a frequency. Parts write themselves into it as they do into a circuit.
void tl_fit_network_at(tl_fit_network* network, double omega, tl_two_port* port);

/// Reads the values that are held: in `numbers`, NAN for those that are not.
tl_status tl_fit_held_read(tl_library* library, const char* held, double numbers[TL_FIT_TOTAL],
                           tl_error* error);

#endif
