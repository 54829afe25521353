// SPDX-License-Identifier: GPL-3.0-or-later
#include "circuit/setup.h"

#include "base/text.h"
#include "parts/sink.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/// A deck being written.
typedef struct {
    tl_text text;
    unsigned node_count; ///< nodes used, ground not counted
    char* kinds;         ///< letters of the elements, by number - 1
    size_t element_count;
    unsigned source; ///< the last voltage source written
} writing;

static unsigned next_number(writing* w, char kind) {
    w->kinds = tl_grow(w->kinds, w->element_count + 1, 1);
    w->kinds[w->element_count++] = kind;
    if (kind == 'v')
        w->source = (unsigned)w->element_count;
    return (unsigned)w->element_count;
}

static tl_node add_node(void* context, const char* what) {
    (void)what;
    writing* w = context;
    return ++w->node_count;
}

static void add_element(void* context, char kind, tl_node a, tl_node b, double value) {
    writing* w = context;
    unsigned number = next_number(w, kind);
    tl_text_addf(&w->text, "%c%u %u %u %s%.17g\n", kind, number, a, b,
                 kind == 'v' ? "dc 0 ac " : "", value);
}

static void add_controlled(void* context, char kind, tl_node a, tl_node b, tl_node control,
                           double gain) {
    writing* w = context;
    tl_text_addf(&w->text, "%c%u %u %u %u 0 %.17g\n", kind, next_number(w, kind), a, b, control,
                 gain);
}

static void add_if(writing* w, char kind, unsigned a, double value) {
    if (value > 0)
        add_element(w, kind, a, TL_GROUND, value);
}

/// What the input's source does, as ngspice reads it.
static void add_course(writing* w, const tl_setup* setup) {
    double volts = setup->amplitude_v;
    switch (setup->drive) {
    case TL_DRIVE_INPUT:
        tl_text_add(&w->text, "dc 0 ac 1\n");
        return;
    case TL_DRIVE_SINE:
        tl_text_addf(&w->text, "dc 0 sin(0 %.17g %.17g)\n", volts, setup->hz);
        return;
    case TL_DRIVE_STEP:
        tl_text_addf(&w->text, "dc 0 pwl(0 0 %.17g 0 %.17g %.17g)\n", 0.1 * setup->time_s,
                     0.1 * setup->time_s + setup->edge_s, volts);
        return;
    case TL_DRIVE_PULSE:
        tl_text_addf(
            &w->text, "dc %.17g pwl(0 %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g)\n",
            -volts, -volts, 0.1 * setup->time_s, -volts, 0.1 * setup->time_s + setup->edge_s, volts,
            0.5 * setup->time_s, volts, 0.5 * setup->time_s + setup->edge_s, -volts);
        return;
    default:
        tl_text_add(&w->text, "dc 0\n");
    }
}

/// The source and what stands between it and the input; returns the input's node.
static unsigned add_source(writing* w, const tl_setup* setup) {
    const tl_sink sink = {w, add_node, add_element, add_controlled, NULL, NULL};
    unsigned at = 0;
    if (setup->pickup) {
        at = setup->pickup->kind->emit(setup->pickup, &sink, TL_GROUND, TL_GROUND);
    } else {
        at = add_node(w, "");
        tl_text_addf(&w->text, "v%u %u 0 ", next_number(w, 'v'), at);
        add_course(w, setup);
    }
    if (!setup->pickup && setup->source_ohm > 0)
        at = tl_sink_along(&sink, 'r', at, setup->source_ohm, "");
    return setup->lead ? setup->lead->kind->emit(setup->lead, &sink, at, TL_GROUND) : at;
}

/// A supply that is ideal but for what is tried on it.
static unsigned add_supply(writing* w, const tl_setup* setup, double volts, tl_drive ripple) {
    unsigned at = add_node(w, "");
    unsigned number = next_number(w, 'v');
    volts *= setup->supply_share;
    if (setup->drive == TL_DRIVE_POWER_UP)
        tl_text_addf(&w->text, "v%u %u 0 dc 0 pwl(0 0 %.17g %.17g)\n", number, at, setup->edge_s,
                     volts);
    else
        tl_text_addf(&w->text, "v%u %u 0 dc %.17g%s\n", number, at, volts,
                     setup->drive == ripple ? " ac 1" : "");
    return at;
}

static void set_port(tl_bench_deck* made, int pin, unsigned node) {
    if (pin != TL_NO_PIN)
        made->nodes[pin + 1] = node;
}

/// Puts the design between its input and its output; returns the number of the positive supply's
/// source, the negative one's being the next voltage source.
static unsigned add_design(writing* w, const tl_setup* setup, tl_bench_deck* made) {
    const tl_design* design = setup->design;
    size_t count = tl_netlist_node_count(design->netlist);
    made->nodes = tl_new(count, sizeof *made->nodes);
    set_port(made, design->in, made->in_node);
    made->out_node = add_node(w, "");
    set_port(made, design->out, made->out_node);
    set_port(made, design->supply, add_supply(w, setup, design->supply_v, TL_DRIVE_SUPPLY));
    unsigned supply = w->source;
    if (design->negative != TL_NO_PIN)
        set_port(made, design->negative,
                 add_supply(w, setup, design->negative_v, TL_DRIVE_NEGATIVE));
    if (design->bias != TL_NO_PIN)
        set_port(made, design->bias, add_supply(w, setup, design->bias_v, TL_DRIVE_POWER_UP));
    for (size_t i = tl_netlist_port_count(design->netlist) + 1; i < count; ++i)
        made->nodes[i] = add_node(w, "");
    made->first_card = (unsigned)w->element_count + 1;
    for (size_t i = 0; i < tl_netlist_card_count(design->netlist); ++i)
        next_number(w, tl_netlist_card(design->netlist, i).kind);
    tl_netlist_write(design->netlist, &w->text, made->nodes, made->first_card);
    return supply;
}

/// Gear's method does not ring at a fixed step, which the 20th harmonic 120 dB down would show.
static void add_options(writing* w, const tl_setup* setup) {
    bool edge = setup->drive > TL_DRIVE_SINE;
    tl_text_add(&w->text, edge || setup->loose ? TL_DECK_LOOSE_OPTIONS : TL_DECK_OPTIONS);
    tl_text_add(&w->text, edge                            ? " itl4=40"
                          : setup->drive == TL_DRIVE_SINE ? " itl4=40 method=gear"
                                                          : "");
    tl_text_add(&w->text, "\n");
}

static void push_probe(tl_deck* deck, char kind, unsigned number) {
    deck->outputs = tl_grow(deck->outputs, deck->output_count + 1, sizeof *deck->outputs);
    deck->outputs[deck->output_count++] = (tl_probe){kind, number};
}

/// Writes everything; the deck has no probes yet.
static tl_bench_deck* write_deck(const tl_setup* setup, writing* w, unsigned* supply) {
    tl_bench_deck* made = tl_new(1, sizeof *made);
    made->design = setup->design;
    made->deck = tl_new(1, sizeof *made->deck);
    made->deck->id = tl_deck_next_id();
    tl_text_add(&w->text, "bench\n");
    add_options(w, setup);
    made->in_node = made->out_node = add_source(w, setup);
    made->source = w->source;
    *supply = setup->design ? add_design(w, setup, made) : made->source;
    add_if(w, 'r', made->out_node, setup->load_ohm);
    add_if(w, 'c', made->out_node, setup->load_farad);
    if (setup->drive == TL_DRIVE_OUTPUT)
        tl_text_addf(&w->text, "i%u 0 %u dc 0 ac 1\n", next_number(w, 'i'), made->out_node);
    tl_text_add(&w->text, ".end\n");
    made->deck->text = tl_text_take(&w->text);
    made->element_count = w->element_count;
    return made;
}

/// Asks for the voltages of all nodes of the design; those that are ground have none to read.
static void probe_nodes(tl_bench_deck* made) {
    size_t count = tl_netlist_node_count(made->design->netlist);
    made->node_probes = tl_new(count, sizeof *made->node_probes);
    for (size_t i = 1; i < count; ++i)
        if (made->nodes[i]) {
            made->node_probes[i] = made->deck->output_count;
            push_probe(made->deck, 'n', made->nodes[i]);
        }
}

tl_bench_deck* tl_setup_deck(const tl_setup* setup, bool all_nodes) {
    writing w = {0};
    unsigned supply = 0;
    tl_bench_deck* made = write_deck(setup, &w, &supply);
    bool two = setup->design && setup->design->negative != TL_NO_PIN;
    push_probe(made->deck, 'n', made->out_node);
    push_probe(made->deck, 'n', made->in_node);
    push_probe(made->deck, 'v', made->source);
    push_probe(made->deck, 'v', supply);
    push_probe(made->deck, 'v', two ? supply + 1 : supply);
    if (all_nodes && setup->design)
        probe_nodes(made);
    free(w.kinds);
    return made;
}

tl_bench_deck* tl_setup_noise_deck(const tl_setup* setup) {
    writing w = {0};
    unsigned supply = 0;
    tl_bench_deck* made = write_deck(setup, &w, &supply);
    push_probe(made->deck, 'o', 0);
    push_probe(made->deck, 'i', 0);
    for (size_t i = 0; i < w.element_count; ++i)
        if (strchr("rdqjm", w.kinds[i]))
            push_probe(made->deck, w.kinds[i], (unsigned)i + 1);
    free(w.kinds);
    return made;
}

void tl_bench_deck_free(tl_bench_deck* deck) {
    if (!deck)
        return;
    tl_deck_free(deck->deck);
    free(deck->nodes);
    free(deck->node_probes);
    free(deck);
}

/// The name of a node of the deck, or NULL.
static const char* node_name(const tl_bench_deck* deck, unsigned node) {
    size_t count = deck->design ? tl_netlist_node_count(deck->design->netlist) : 0;
    for (size_t i = 1; i < count; ++i)
        if (deck->nodes[i] == node)
            return tl_netlist_node_name(deck->design->netlist, (unsigned)i);
    return node == deck->out_node ? "the output" : node == deck->in_node ? "the input" : NULL;
}

/// The name of an element "q12", or NULL. `size` becomes the length of what it replaces.
static const char* element_name(const tl_bench_deck* deck, const char* at, size_t* size) {
    char* end = NULL;
    if (!isalpha((unsigned char)at[0]) || !isdigit((unsigned char)at[1]))
        return NULL;
    unsigned long number = strtoul(at + 1, &end, 10);
    if (tolower((unsigned char)at[0]) == 'v' && *end == '#' && number < deck->first_card) {
        *size = (size_t)(end - at);
        return number == deck->source ? "the input's source" : "the supply";
    }
    size_t count = deck->design ? tl_netlist_card_count(deck->design->netlist) : 0;
    if (isalnum((unsigned char)*end) || *end == '_' || number < deck->first_card ||
        number >= deck->first_card + count)
        return NULL;
    tl_card card = tl_netlist_card(deck->design->netlist, number - deck->first_card);
    *size = (size_t)(end - at);
    return tolower((unsigned char)at[0]) == card.kind ? card.name : NULL;
}

/// Whether the number that begins at `at` is a node's: ngspice says "node 5", "nodes 5 and 7".
static bool follows_node(const char* words, const char* at) {
    static const char* const before[] = {"node ", "nodes ", " and ", "node: ", "node \""};
    for (size_t i = 0; i < sizeof before / sizeof *before; ++i) {
        size_t size = strlen(before[i]);
        if ((size_t)(at - words) >= size && strncasecmp(at - size, before[i], size) == 0)
            return true;
    }
    return false;
}

/// Replaces numbers by names.
static char* name_all(const tl_bench_deck* deck, const char* words) {
    tl_text text = {0};
    for (const char* at = words; *at;) {
        bool starts = at == words || !(isalnum((unsigned char)at[-1]) || at[-1] == '.');
        size_t size = 0;
        const char* name = starts ? element_name(deck, at, &size) : NULL;
        if (starts && !name && isdigit((unsigned char)*at) && follows_node(words, at)) {
            char* end = NULL;
            name = node_name(deck, (unsigned)strtoul(at, &end, 10));
            size = (size_t)(end - at);
        }
        if (name) {
            const char* quote = at > words && at[-1] == '"' ? "" : "'";
            tl_text_addf(&text, "%s%s%s", quote, name, quote);
            at += size;
        } else {
            tl_text_add_bytes(&text, at++, 1);
        }
    }
    return tl_text_take(&text);
}

/// The line of ngspice's that tells most: of a singular matrix, of what the analysis ended with, or
/// the last; NULL when it said nothing.
static char* telling_line(const char* words) {
    static const char* const telling[] = {"singular matrix", "doAnalyses", "ngspice: "};
    static const char start[] = "ngspice: ";
    for (size_t i = 0; i < sizeof telling / sizeof *telling; ++i) {
        const char* found = NULL;
        for (const char* at = words; (at = strstr(at, telling[i])); ++at)
            found = i < 2 && found ? found : at;
        if (!found)
            continue;
        while (found > words && found[-1] != '\n')
            --found;
        const char* from = strstr(found, start);
        from = from && from < found + 4 ? from + sizeof start - 1 : found;
        return tl_printf("%.*s", (int)strcspn(from, "\n"), from);
    }
    return NULL;
}

char* tl_bench_deck_words(const tl_bench_deck* deck, const char* words) {
    char* line = telling_line(words);
    if (!line)
        return tl_copy(words);
    char* named = name_all(deck, line);
    const char* means = strstr(line, "singular matrix")
                            ? " (no direct current reaches it, or sources are in a loop)"
                            : "";
    char* made = tl_printf("%.*s: %s%s", (int)strcspn(words, "\n"), words, named, means);
    free(named);
    free(line);
    return made;
}
