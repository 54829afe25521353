// SPDX-License-Identifier: GPL-3.0-or-later
// What our reader makes of a text behaves as ngspice takes the text itself: operating point and
// small-signal response to 1e-9, on the ngspice program.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "spice_text.h"

#include <math.h>

static char* scratch;
static tl_error* error;

static int set_up(void** state) {
    (void)state;
    error = tl_error_new();
    scratch = tl_printf("/tmp/tl-test-roundtrip-%d", (int)getpid());
    return mkdir(scratch, 0700);
}

static int tear_down(void** state) {
    (void)state;
    char* command = tl_printf("rm -rf -- '%s'", scratch);
    int status = system(command);
    free(command);
    free(scratch);
    tl_error_free(error);
    return status;
}

enum { MOST_FIGURES = 200 };

/// All numbers ngspice prints as "name = real" or "name = real,imaginary", and 0 for the latter
/// when there is none.
static size_t figures_of(const char* deck, double* figures) {
    assert_int_equal(run_ngspice(scratch, deck, strlen(deck), 60), RAN);
    char* words = words_of_run(scratch);
    size_t count = 0;
    for (char* line = words; line && count + 2 < MOST_FIGURES;) {
        char* next = strchr(line, '\n');
        char* sign = strstr(line, " = ");
        if (strstr(words, "rror"))
            fail_msg("%s\n%s", deck, words);
        if (sign && (!next || sign < next) && (line[0] == 'v' || line[0] == 'i')) {
            char* end = NULL;
            figures[count++] = strtod(sign + 3, &end);
            figures[count++] = *end == ',' ? strtod(end + 1, NULL) : 0;
        }
        line = next ? next + 1 : NULL;
    }
    free(words);
    return count;
}

#define ASKED                                                                                      \
    ".options reltol=1e-10 abstol=1e-16 vntol=1e-13\n.control\nset numdgt=15\nop\nprint %s\n"      \
    "ac lin 1 1k 1k\nprint %s\nac lin 1 100k 100k\nprint %s\n.endc\n.end\n"

/// `ports` nodes numbered from 1 are the subcircuit's; `drive` are the lines around it.
static void same_both_ways(const char* text, unsigned ports, const char* drive,
                           const char* figures) {
    spice made = spice_of(text, "top", error);
    if (!made.netlist)
        fail_msg("%s", tl_error_text(error));
    assert_int_equal(tl_netlist_port_count(made.netlist), ports);
    tl_text raw = {0};
    tl_text_addf(&raw, "title\n%sx1", text);
    for (unsigned i = 1; i <= ports; ++i)
        tl_text_addf(&raw, " %u", i);
    tl_text_addf(&raw, " top\n%s" ASKED, drive, figures, figures, figures);
    char* written = spice_written(made.netlist, 100);
    char* ours = tl_printf("title\n%s%s" ASKED, written, drive, figures, figures, figures);
    double one[MOST_FIGURES] = {0};
    double other[MOST_FIGURES] = {0};
    size_t count = figures_of(tl_text_get(&raw), one);
    assert_int_equal(figures_of(ours, other), count);
    assert_true(count > 4);
    double least = 0;
    for (size_t i = 0; i < count; ++i) {
        double size = fmax(fabs(one[i]), fabs(one[i ^ 1]));
        least = fmax(least, size);
        if (!(fabs(one[i] - other[i]) <= 1e-9 * size + 1e-14))
            fail_msg("figure %zu: %.15g and %.15g of\n%s\nand\n%s", i, one[i], other[i],
                     tl_text_get(&raw), ours);
    }
    assert_true(least > 1e-6);
    free(ours);
    free(written);
    tl_text_free(&raw);
    spice_free(&made);
}

#define FOLLOWER_DRIVE "v901 1 0 dc 0 ac 1\nv903 3 0 dc 9\nv904 4 0 dc 0\nr902 2 0 100k\n"

static void a_follower(void** state) {
    (void)state;
    same_both_ways("* source follower with parameters\n"
                   ".param load=4.7k twice={2*load}\n"
                   ".model jn njf (vto=-1.2 beta={1m*1.3}\n"
                   "+ lambda=0.01 rd=10 rs=10 cgs=4p cgd=4p is=10f)\n"
                   ".subckt bias in mid vcc gnd params: r=1Meg c=100n\n"
                   ".param half={r/2}\n"
                   "r1 vcc mid {half}\n"
                   "R2 mid gnd {half} tc=1m\n"
                   "c1 mid gnd {c}\n"
                   "r3 in mid {r} ; comment\n"
                   ".ends bias\n"
                   ".SUBCKT top in out vcc gnd\n"
                   "X1 g mid vcc gnd bias r=2.2meg\n"
                   "c1 in g 10n\n"
                   "J1 vcc g s JN\n"
                   "r1 s gnd {twice} m=2\n"
                   "c2 s out 10uF $ coupling\n"
                   "rout out gnd 1e5\n"
                   ".ends\n",
                   4, FOLLOWER_DRIVE, "v(2) i(v903) i(v901)");
}

static void bipolar_and_nested_models(void** state) {
    (void)state;
    same_both_ways(".func par(a, b) {a*b/(a+b)}\n"
                   ".subckt pair b c e gain=200\n"
                   ".model qn npn(bf={gain} is=1e-14 vaf=80 cje=8p cjc=4p tf=400p rb=50)\n"
                   "q1 c b m qn\n"
                   "q2 c m e 0 qn area=2\n"
                   "d1 e m dx\n"
                   ".model dx d is=1e-14 rs=1 cjo=2p\n"
                   ".ends\n"
                   ".subckt top in out vcc gnd\n"
                   "x1 b vcc e pair gain={par(300, 600)}\n"
                   "x2 b2 vcc e2 pair\n"
                   "r1 vcc b {par(1meg, 1meg)}\nr2 b gnd 1meg\n"
                   "r3 vcc b2 470k\nr4 b2 gnd 1meg\n"
                   "re e gnd 2.2k\nre2 e2 gnd 3.3k\n"
                   "c1 in b 1u\nc2 in b2 1u\nc3 e out 10u\nc4 e2 out 1u\n"
                   "m1 vcc b s1 gnd mn w=100u l=2u\n.model mn nmos(level=1 vto=0.8 kp=50u)\n"
                   "rs s1 gnd 1k\n"
                   "s1 s1 out vcc gnd sw1 on\n.model sw1 sw(vt=2 vh=0.1 ron=100 roff=1g)\n"
                   ".ends\n",
                   4, FOLLOWER_DRIVE, "v(2) i(v903) i(v901)");
}

static void controlled_sources(void** state) {
    (void)state;
    same_both_ways(
        ".subckt top in out vcc gnd\n"
        "l1 in gnd 1m\nl2 s2 gnd 4m\nl3 s3 gnd 1m\nk1 l1 l2 0.9\nk2 L2 L3 k=0.5\n"
        "rp in gnd 10k\nrs2 s2 gnd 1k\nrs3 s3 gnd 2k\n"
        "vs vcc p 0\nrv p gnd 1k\n"
        "f1 gnd fo vs 0.5\nrf fo gnd 100\n"
        "h1 ho gnd vs -20\nrh ho gnd 1k\n"
        "e1 eo gnd fo ho 0.3\nre eo gnd 1k\n"
        "g1 go gnd (s2, s3) 1m\nrg go gnd 1k\n"
        "e2 e2o gnd poly(2) (fo,gnd) (in,gnd) 0.1 0.2 3 0.4 0.5 0.6 0.07\nr2 e2o gnd 1k\n"
        "g2 g2o gnd poly(1) vcc gnd 1m 2m 3u\nr3 g2o gnd 1k\n"
        "f2 f2o gnd poly(2) vs vs 1u 0.1 0.2 3 4 5\nr4 f2o gnd 1k\n"
        "h2 h2o gnd poly(1) vs 0 100\nr5 h2o gnd 1k\n"
        "ro out gnd 1k\n"
        "b1 out gnd i=-(v(s2)+v(s3)+v(eo)+v(go)+v(e2o)+v(g2o)+v(f2o)+v(h2o))*1m\n"
        ".ends\n",
        4, FOLLOWER_DRIVE, "v(2) i(v903) i(v901)");
}

static void behavioural_sources(void** state) {
    (void)state;
    same_both_ways(
        ".param a=0.123456789012345 k=3\n"
        ".func soft(x, lim) {lim*tanh(x/lim)}\n"
        ".subckt top in out vcc gnd\n"
        "b1 n1 gnd v=soft(v(in)+0.7, {k})*1.5 + a*v(vcc)\nr1 n1 gnd 1k\n"
        "b2 n2 gnd v = v(n1) > 1 && v(vcc) >= 9 ? sqrt(v(n1)) : -ln(v(vcc))\nr2 n2 gnd 1k\n"
        "e3 n3 gnd value={min(v(n1), 2)*max(v(n2), 0.1) + pwr(v(n1,n2), 1.5)}\nr3 n3 gnd 1k\n"
        "g4 gnd n4 value = { exp(-v(n3))*1m + abs(v(n2))*1u }\nr4 n4 gnd 1k\n"
        "e5 n5 gnd vol = 'sin(v(n3))+cos(v(n4))+atan(v(n2))+sinh(0.1*v(n1))'\nr5 n5 gnd 1k\n"
        "b6 n6 gnd v=2**3*v(n5)^2 - -v(n5)/4 + (v(n1)+2)^0.5 + uramp(v(n3)-0.5)*sgn(v(n2))\n"
        "r6 n6 gnd 1k\n"
        "v7 n6 n7 0\nr7 n7 gnd 1k\n"
        "b8 out gnd v=i(v7)*1k*u(v(vcc)-5)+log10(v(vcc))*log(10)+(!(v(vcc)==0))*(v(vcc)!=9)\n"
        "+ +floor(2.5)+ceil(0.2)+u2(v(n1)/10)+asinh(v(n1))+acosh(2)+atanh(.1*v(n1))\n"
        ".ends\n",
        4, FOLLOWER_DRIVE, "v(2) i(v903) i(v901)");
}

/// Every setting that an element may have is one that ngspice takes where we write it. (`off` is
/// left out: it moves where the search for the operating point ends, more than 1e-9.)
static void settings(void** state) {
    (void)state;
    same_both_ways(".subckt top in out vcc gnd\n"
                   "r1 in out 1k tc1=1m tc2=1u noisy=0 m=2\nr2 in a rm 2k\n"
                   ".model rm r tc1=1m tc2=1u tnom=20\n"
                   "c1 in out 1n tc1=1m ic=2 m=3\nc2 a gnd cm 10n\n.model cm c tc1=1m tnom=20\n"
                   "l1 a b 1m tc1=1m ic=1 m=2\nl2 b out lm 1m\n.model lm l tc1=1m tnom=20\n"
                   "d1 a gnd dm area=2 pj=1 ic=0.2 m=2\n.model dm d is=1f level=1 cjo=1p\n"
                   "q1 gnd a out gnd qm area=2 areab=1 areac=2 m=2\n.model qm pnp level=1\n"
                   "j1 vcc a out jm area=2 m=2\n.model jm njf level=1\n"
                   "m1 vcc a out gnd mm w=1u l=1u ad=1p as=1p pd=1u ps=1u nrd=1 nrs=1 m=2\n"
                   ".model mm nmos level=3 tox=100n\n"
                   "s1 out gnd a gnd sm\n.model sm sw vt=1 vh=0.1 ron=1k roff=1meg\n"
                   ".ends\n",
                   4, FOLLOWER_DRIVE, "v(2) i(v903) i(v901)");
}

/// Odd powers of negative values are where we go another way: as mathematics has it.
static void powers_are_the_mathematical_ones(void** state) {
    (void)state;
    static const struct {
        const char* text;
        double value;
        double slope;
    } rows[] = {{"v(in)^3", -8, 12},
                {"v(in)**3", -8, 12},
                {"pow(v(in), 3)", -8, 12},
                {"v(in)^2", 4, -4},
                {"v(in)^(1+2)", -8, 12},
                {"v(in)^-1", -0.5, -0.25},
                {"v(in)^-2", 0.25, 0.25},
                {"v(in)^1", -2, 1},
                {"2^v(in)", 0.25, 0.1732868},
                {"-v(in)^2", -4, 4},
                {"v(in)^0", 1, 0},
                {"(v(in)+2)^3", 0, 0},
                {"(v(in)+2)^2", 0, 0},
                {"v(in)*v(in)*v(in)", -8, 12}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
        char* text =
            tl_printf(".subckt top in out\nb1 out 0 v=%s\nr1 out in 1k\n.ends\n", rows[i].text);
        spice made = spice_of(text, "top", error);
        assert_non_null(made.netlist);
        char* written = spice_written(made.netlist, 100);
        char* deck =
            tl_printf("title\n%sv1 1 0 dc -2 ac 1\n" ASKED, written, "v(2)", "v(2)", "v(2)");
        double figures[MOST_FIGURES] = {0};
        assert_true(figures_of(deck, figures) >= 2);
        if (fabs(figures[0] - rows[i].value) > 1e-7 || fabs(figures[2] - rows[i].slope) > 1e-6)
            fail_msg("%s: %g, slope %g", rows[i].text, figures[0], figures[2]);
        free(deck);
        free(written);
        free(text);
        spice_free(&made);
    }
}

/// Initial conditions and node sets come along: a latch settles where it is told to.
static void node_sets(void** state) {
    (void)state;
    for (int high = 0; high < 2; ++high) {
        char* text = tl_printf(".subckt top a b\n.param v={%d*5}\n"
                               "b1 a2 0 v=2.5-2.5*tanh(4*(v(b)-2.5))\nr1 a2 a 1k\n"
                               "b2 b2 0 v=2.5-2.5*tanh(4*(v(a)-2.5))\nr2 b2 b 1k\n"
                               ".nodeset v(a)={v} v(b)={5-v}\n.ends\n",
                               high);
        same_both_ways(text, 2, "v903 5 0 1\nr903 5 0 1\n", "v(1) v(2) v(5)");
        spice made = spice_of(text, "top", error);
        char* written = spice_written(made.netlist, 7);
        char* deck = tl_printf("title\n%s" ASKED, written, "v(1)", "v(1)", "v(1)");
        double figures[MOST_FIGURES] = {0};
        assert_true(figures_of(deck, figures) >= 1);
        assert_true(high ? figures[0] > 4.9 : figures[0] < 0.1);
        free(deck);
        free(written);
        free(text);
        spice_free(&made);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_follower),         cmocka_unit_test(bipolar_and_nested_models),
        cmocka_unit_test(controlled_sources), cmocka_unit_test(behavioural_sources),
        cmocka_unit_test(settings),           cmocka_unit_test(powers_are_the_mathematical_ones),
        cmocka_unit_test(node_sets),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
