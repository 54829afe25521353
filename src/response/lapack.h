// SPDX-License-Identifier: GPL-3.0-or-later
/// @file lapack.h The five LAPACK routines a fit needs, loaded when first asked for.
///
/// Linking LAPACK and its Fortran run-time takes 0.8 ms of a 1.6 ms program start. Loaded late,
/// that time passes while a worker starts its solver.
#ifndef TL_RESPONSE_LAPACK_H
#define TL_RESPONSE_LAPACK_H

#include <lapacke.h>

typedef struct {
    __typeof__(LAPACKE_dgeqrf_work)* dgeqrf; ///< QR factors
    __typeof__(LAPACKE_dtrtrs_work)* dtrtrs; ///< a triangular system
    __typeof__(LAPACKE_dlarfg_work)* dlarfg; ///< makes a reflector
    __typeof__(LAPACKE_dlarfx_work)* dlarfx; ///< applies a reflector
    __typeof__(LAPACKE_dggev_work)* dggev;   ///< generalised eigenvalues
} tl_lapack;

/// The routines, the same for every thread; NULL when the library cannot be loaded.
const tl_lapack* tl_lapack_get(void);

#endif
