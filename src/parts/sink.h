// SPDX-License-Identifier: GPL-3.0-or-later
/// @file sink.h Where parts write themselves: nodes and elements of a circuit being built.
///
/// A part knows what it is made of, not what becomes of it. The circuit implements this.
#ifndef TL_PARTS_SINK_H
#define TL_PARTS_SINK_H

/// A node by its number; TL_GROUND is the shield of everything.
typedef unsigned tl_node;
enum { TL_GROUND = 0 };

/// A stage that is a circuit of its own; only the circuit room knows what is in it.
struct tl_design;

typedef struct {
    void* context;
    /// A new node; `what` says where it is, in words that live as long as the program.
    tl_node (*node)(void* context, const char* what);
    /// An element: 'r' ohm, 'q' ohm whose noise is stated elsewhere, 'l' henry, 'c' farad, or 'v' a
    /// source of so many volts, small-signal.
    void (*element)(void* context, char kind, tl_node a, tl_node b, double value);
    /// A controlled source: per volt at `control`, 'e' holds `a` so many volts above `b`, and 'g'
    /// drives so many amperes through itself from `a` to `b`.
    void (*controlled)(void* context, char kind, tl_node a, tl_node b, tl_node control,
                       double gain);
    /// A whole circuit from `in`, with its supply; returns the node it drives.
    tl_node (*design)(void* context, const struct tl_design* design, tl_node in);
    /// Noise that a part states, seen at `in`: white, a voltage in series and a current to ground.
    /// Returns the node behind it. NULL when nobody asks for noise.
    tl_node (*noise)(void* context, tl_node in, double volt_rthz, double ampere_rthz);
} tl_sink;

tl_node tl_sink_node(const tl_sink* sink, const char* what);
/// An element between two nodes. Nothing, when its value is 0: for shunts that can be absent.
void tl_sink_across(const tl_sink* sink, char kind, tl_node a, tl_node b, double value);
/// A series resistance below this is a wire: beside a pickup's megohms double precision cannot
/// carry it through the solver (0.01 mohm spoils the seventh digit of everything), nor could anyone
/// hear it.
#define TL_WIRE_OHM 1e-4

/// An element from `from` to a new node `what`, which is returned; 0, or less than TL_WIRE_OHM of
/// resistance, is a wire: `from` itself.
tl_node tl_sink_along(const tl_sink* sink, char kind, tl_node from, double value, const char* what);

#endif
