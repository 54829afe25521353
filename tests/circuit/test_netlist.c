// SPDX-License-Identifier: GPL-3.0-or-later
// A user's subcircuit made flat: worked out by hand from what SPICE text means.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "spice_text.h"

#include <math.h>

static tl_error* error;

static int set_up(void** state) {
    (void)state;
    error = tl_error_new();
    return 0;
}

static int tear_down(void** state) {
    (void)state;
    tl_error_free(error);
    return 0;
}

#define F(lines) ".subckt f in out vcc gnd\n" lines ".ends\n"

static spice read_good(const char* text) {
    spice made = spice_of(text, "f", error);
    if (!made.netlist)
        fail_msg("%s\n%s", text, tl_error_text(error));
    return made;
}

/// Elements are numbered from 10; ports are nodes 1 to 4.
static void becomes(const char* text, const char* written) {
    spice made = read_good(text);
    char* found = spice_written(made.netlist, 10);
    assert_string_equal(found, written);
    free(found);
    spice_free(&made);
}

static void refused(const char* text, const char* words) {
    spice made = spice_of(text, "f", error);
    if (made.netlist)
        fail_msg("accepted: %s", text);
    if (!strstr(tl_error_text(error), words))
        fail_msg("%s\n%s\nnot: %s", text, tl_error_text(error), words);
    spice_free(&made);
}

static double value_of(const char* text, const char* path) {
    spice made = read_good(text);
    double value = 0;
    if (!tl_netlist_get(made.netlist, path, &value))
        fail_msg("no %s in %s", path, text);
    spice_free(&made);
    return value;
}

static void elements(void** state) {
    (void)state;
    becomes(F("r1 in out 1000\nC2 out gnd 2\nL3 in 0 4\n"), "r10 1 2 1000\nc11 2 4 2\nl12 1 0 4\n");
    becomes(F("v1 in out\ni1 in out dc 2\nv2 in gnd -3\n"),
            "v10 1 2 dc 0\ni11 1 2 dc 2\nv12 1 4 dc -3\n");
    becomes(F("e1 out 0 in gnd 2\ng1 out 0 (in,gnd) 4\n"), "e10 2 0 1 4 2\ng11 2 0 1 4 4\n");
    becomes(F("f1 out 0 vs 2\nh1 out in VS 8\nvs in 0 0\n"),
            "f10 2 0 v12 2\nh11 2 1 v12 8\nv12 1 0 dc 0\n");
    becomes(F("k1 l1 l2 0.5\nl1 in 0 1\nl2 out 0 1\n"), "k10 l11 l12 0.5\nl11 1 0 1\nl12 2 0 1\n");
    becomes(F("r1 in out 1k m=2\nc1 in out 1 m=2\nl1 in out 1 m=2\n"),
            "r10 1 2 500\nc11 1 2 2\nl12 1 2 0.5\n");
    becomes(F("r1 in out r=8 tc=1,2 noisy=0\nr2 in out rm 16\n.model rm r(tc1=2)\n"),
            ".model m10 r ( tc1=2 )\nr10 1 2 8 tc1=1 tc2=2 noisy=0\nr11 1 2 m10 16\n");
    becomes(F("c1 in out 2 ic=4\nr1 in out -50\n"), "c10 1 2 2 ic=4\nr11 1 2 -50\n");
    becomes(F("b1 out 0 i=v(in,gnd)*i(v1)\nv1 in 0\n"),
            "b10 2 0 i=(v(1,4)*i(v11))\nv11 1 0 dc 0\n");
    becomes(F("b1 out 0 v=1\n.ic v(out)=2\n.nodeset v(in)=4\n"),
            "b10 2 0 v=1.0000000000e+00\n.ic v(2)=2\n.nodeset v(1)=4\n");
}

static void devices(void** state) {
    (void)state;
    becomes(F("q1 vcc in out qm\nq2 vcc in out gnd qm 2 off\nq3 vcc in out qm m=4\n.model qm "
              "NPN(bf=100, is=2)\n"),
            ".model m10 npn ( bf=100 is=2 )\nq10 3 1 2 m10\nq11 3 1 2 4 m10 area=2 off\n"
            "q12 3 1 2 m10 m=4\n");
    becomes(F("d1 in out 1n4\nj1 in out gnd jm area=2\n.model 1n4 d\n.model jm pjf vto=2\n"),
            ".model m10 d\n.model m11 pjf ( vto=2 )\nd10 1 2 m10\nj11 1 2 4 m11 area=2\n");
    becomes(F("m1 in out gnd 0 mm l=1 w=2\n.model mm pmos level=3\ns1 in out vcc 0 sm on\n"
              ".model sm sw(vt=1)\n"),
            ".model m10 pmos ( level=3 )\n.model m11 sw ( vt=1 )\nm10 1 2 4 0 m10 l=1 w=2\n"
            "s11 1 2 3 0 m11 on\n");
}

static void numbers(void** state) {
    (void)state;
    static const struct {
        const char* text;
        double value;
    } rows[] = {{"1", 1},
                {"4.7k", 4700},
                {"1meg", 1e6},
                {"1MEGohm", 1e6},
                {"2M", 2e-3},
                {"10uF", 10e-6},
                {"3.3nF", 3.3e-9},
                {"47p", 47e-12},
                {"1f", 1e-15},
                {"2g", 2e9},
                {"1.5t", 1.5e12},
                {"2mil", 50.8e-6},
                {"1e3", 1000},
                {"1e+3k", 1e6},
                {".5", 0.5},
                {"5.", 5},
                {"1e-3V", 1e-3},
                {"{2*3k}", 6000},
                {"'2+1'", 3},
                {"{a}", 7},
                {"{b}", 14},
                {"{sq(a)+1}", 50},
                {"{-2^2}", -4},
                {"{2^3^2}", 64},
                {"{2**-1}", 0.5},
                {"{a>6?1:2}", 1},
                {"{a<=6||b==14}", 1},
                {"{!a}", 0},
                {"{min(a,b)-max(1,2)}", 5},
                {"{pwr(-2,3)}", -8},
                {"{pow(-2,3)}", -8},
                {"{log(e)+log10(100)+ln(e)}", 4},
                {"{limit(9,1,3)}", 3},
                {"{sqrt(16)+sqr(3)}", 13},
                {"{if(0,1,2)}", 2},
                {"{sgn(-4)+u(3)+uramp(-1)}", 0},
                {"{nint(2.6)+floor(1.9)}", 4},
                {"{1k*1m}", 1},
                {"{10^-3*1k}", 1},
                {"{temper}", 27},
                {"{cos(pi)}", -1}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
        char* text =
            tl_printf(".param b={2*a} a=7\n.func sq(x) {x*x}\n" F("v1 in out %s\n"), rows[i].text);
        double value = value_of(text, "v1");
        if (fabs(value - rows[i].value) > 1e-12 * fabs(rows[i].value))
            fail_msg("%s is %.17g", rows[i].text, value);
        free(text);
    }
}

static void expressions(void** state) {
    (void)state;
    static const struct {
        const char* text;
        const char* written;
    } rows[] = {
        {"v(in) + 2*3", "(v(1)+6.0000000000e+00)"},
        {"v(in) - v(out) - v(vcc)", "((v(1)-v(2))-v(3))"},
        {"-v(in)*2", "((-v(1))*2.0000000000e+00)"},
        {"v(in)<2 && v(out)>=1",
         "eq0(eq0(lt0(v(1)-2.0000000000e+00))+eq0(ge0(v(2)-1.0000000000e+00)"
         "))"},
        {"v(in)?v(out):v(vcc)?1:2",
         "ternary_fcn(v(1),v(2),ternary_fcn(v(3),1.0000000000e+00,2.0000000000e+00))"},
        {"limit(v(in),0,a)", "min(max(v(1),0.0000000000e+00),7.0000000000e+00)"},
        {"sq(v(in)+1)", "((v(1)+1.0000000000e+00)*(v(1)+1.0000000000e+00))"},
        {"log(v(in))", "ln(v(1))"},
        {"v(0,in)", "v(0,1)"},
        {"v(gnd)", "v(4)"},
        {"{a}*'v(in)'", "(7.0000000000e+00*v(1))"},
        {"-5*v(in)", "((-5.0000000000e+00)*v(1))"},
        {"v(in)/3.00000000000001", "(v(1)/(3.0000000000e+00+1.0214051827e-14))"},
        {"(v(in))", "v(1)"},
        {"2 + (3 > 2)", "3.0000000000e+00"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
        char* text =
            tl_printf(".param a=7\n.func sq(x) {x*x}\n" F("b1 out 0 v = %s\n"), rows[i].text);
        char* written = tl_printf("b10 2 0 v=%s\n", rows[i].written);
        becomes(text, written);
        free(written);
        free(text);
    }
    becomes(F("e1 out 0 value={v(in)}\ng1 out 0 cur='v(in)'\ng2 out 0 value = { v(in) }\n"),
            "b10 2 0 v=v(1)\nb11 2 0 i=v(1)\nb12 2 0 i=v(1)\n");
}

static void calls(void** state) {
    (void)state;
    static const char text[] =
        ".param g=3\n"
        ".subckt a p q params: r=1k s={2*r} t={g}\n"
        "r1 p mid {r}\nR2 mid q {s}\nr3 mid 0 {t}\n.ends\n" F(
            "X1 in out a\nx2 in mid a r=5\nx3 mid out a s={g*4} r={g}\nr1 mid 0 1\n");
    becomes(text, "r10 1 5 1000\nr11 5 2 2000\nr12 5 0 3\n"
                  "r13 1 7 5\nr14 7 6 10\nr15 7 0 3\n"
                  "r16 6 8 3\nr17 8 2 12\nr18 8 0 3\nr19 6 0 1\n");
    spice made = read_good(text);
    assert_int_equal(tl_netlist_node_count(made.netlist), 9);
    assert_string_equal(tl_netlist_node_name(made.netlist, 0), "0");
    assert_string_equal(tl_netlist_node_name(made.netlist, 1), "in");
    assert_string_equal(tl_netlist_node_name(made.netlist, 5), "X1.mid");
    assert_string_equal(tl_netlist_node_name(made.netlist, 6), "mid");
    assert_string_equal(tl_netlist_card(made.netlist, 1).name, "X1.R2");
    assert_int_equal(tl_netlist_card(made.netlist, 1).place.line, 4);
    assert_int_equal(tl_netlist_card(made.netlist, 9).kind, 'r');
    assert_int_equal(tl_netlist_port_count(made.netlist), 4);
    assert_string_equal(tl_netlist_port_name(made.netlist, 2), "vcc");
    spice_free(&made);
    // a definition within another is seen there alone; models and parameters of a call are its own
    becomes(".model m d(is=1)\n.subckt a p q g=1\n.model m d(is={g})\n.subckt b p q\nd1 p q m\n"
            ".ends\nx1 p q b\nd2 p q m\n.ends\n" F("d3 in out m\nx1 in out a g=2\nx2 in out a\n"),
            ".model m10 d ( is=1 )\n.model m11 d ( is=2 )\n.model m12 d ( is=1 )\n"
            "d10 1 2 m10\nd11 1 2 m11\nd12 1 2 m11\nd13 1 2 m12\nd14 1 2 m12\n");
    refused(".subckt a p q\n.subckt b p q\nr1 p q 1\n.ends\nx1 p q b\n.ends\n" F("x1 in out b\n"),
            "no subcircuit 'b'");
}

static void continuations_keep_their_places(void** state) {
    (void)state;
    refused(F("r1 in\n* comment\n\n+ out\n   + 1q2\n"), "user.cir:6:8: error: a number ends here");
    refused(F("r1 in out 1k\nr2 in out {1+\n+ nosuch}\n"),
            "user.cir:4:3: error: unknown parameter 'nosuch'\n  + nosuch}\n    ^");
}

static void paths(void** state) {
    (void)state;
    static const char text[] =
        F("R1 in out 1k\nv1 in 0 2\nq1 vcc in out qm\nq2 vcc in out qm\n"
          "x1 in out a\nb1 out 0 i=v(in)\n") ".model qm npn(bf=100 is=1f)\n"
                                             ".subckt a p q\nR3 p q 5\n.ends\n";
    spice made = read_good(text);
    size_t count = 0;
    const char* const* found = tl_netlist_paths(made.netlist, &count);
    static const char* const expected[] = {"r1", "v1", "q1.bf", "q1.is", "q2.bf", "q2.is", "x1.r3"};
    assert_int_equal(count, 7);
    for (size_t i = 0; i < count; ++i)
        assert_string_equal(found[i], expected[i]);
    double value = 0;
    assert_true(tl_netlist_get(made.netlist, "X1.R3", &value));
    assert_true(value == 5);
    static const char* const none[] = {"r2", "r", "q1", "q1.br", "b1", "x1", "r1.bf", "", "x1.r3."};
    for (size_t i = 0; i < sizeof none / sizeof *none; ++i) {
        assert_false(tl_netlist_get(made.netlist, none[i], &value));
        assert_false(tl_netlist_set(made.netlist, none[i], 1));
    }
    tl_netlist* clone = tl_netlist_clone(made.netlist);
    assert_true(tl_netlist_set(clone, "q1.bf", 300));
    assert_true(tl_netlist_set(clone, "q1.bf", 400));
    assert_true(tl_netlist_set(clone, "x1.r3", 6));
    assert_true(tl_netlist_get(clone, "q2.bf", &value) && value == 100);
    char* written = spice_written(clone, 10);
    assert_string_equal(written, ".model m10 npn ( bf=100 is=1.0000000000000001e-15 )\n"
                                 ".model m11 npn ( bf=400 is=1.0000000000000001e-15 )\n"
                                 "r10 1 2 1000\nv11 1 0 dc 2\nq12 3 1 2 m11\nq13 3 1 2 m10\n"
                                 "r14 1 2 6\nb15 2 0 i=v(1)\n");
    free(written);
    tl_netlist_free(clone);
    assert_true(tl_netlist_get(made.netlist, "q1.bf", &value) && value == 100);
    spice_free(&made);
}

static void other_nodes(void** state) {
    (void)state;
    spice made = read_good(F("r1 in mid 1\nb1 mid out v=v(in)\n.ic v(mid)=1\n"));
    const unsigned nodes[] = {0, 70, 80, 90, 3, 12};
    tl_text text = {0};
    tl_netlist_write(made.netlist, &text, nodes, 1);
    assert_string_equal(tl_text_get(&text), "r1 70 12 1\nb2 12 80 v=v(70)\n.ic v(12)=1\n");
    tl_text_free(&text);
    spice_free(&made);
}

static void links(void** state) {
    (void)state;
    static const struct {
        const char* line;
        const char* links;
    } rows[] = {{"r1 in out 1", "1-2 "},
                {"c1 in out 1", ""},
                {"l1 in out 1", "1-2 "},
                {"v1 in out 1", "1-2 "},
                {"i1 in out 1", ""},
                {"e1 in out vcc 0 1", "1-2 "},
                {"g1 in out vcc 0 1", ""},
                {"b1 in out v=1", "1-2 "},
                {"b1 in out i=1", ""},
                {"d1 in out dm", "1-2 "},
                {"q1 vcc in out gnd qm", "1-2 1-3 "},
                {"j1 vcc in out jm", "3-2 "},
                {"m1 vcc in out gnd mm", "3-2 "},
                {"s1 in out vcc 0 sm", "1-2 "}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
        char* text = tl_printf(".model dm d\n.model qm npn\n.model jm njf\n.model mm nmos\n"
                               ".model sm sw\n" F("%s\n"),
                               rows[i].line);
        spice made = read_good(text);
        unsigned pairs[TL_CARD_NODES][2];
        tl_text found = {0};
        size_t count = tl_netlist_links(made.netlist, 0, pairs);
        for (size_t j = 0; j < count; ++j)
            tl_text_addf(&found, "%u-%u ", pairs[j][0], pairs[j][1]);
        assert_string_equal(tl_text_get(&found), rows[i].links);
        tl_text_free(&found);
        free(text);
        spice_free(&made);
    }
}

static void slips_get_the_nearest_name(void** state) {
    (void)state;
    refused(F("q1 vcc in out qn\n") ".model qm npn\n", "no model 'qn'; did you mean 'qm'?");
    refused(F("q1 vcc in out qm\n.model qm npn(bg=1)\n"), "did you mean 'bf'?");
    refused(F("q1 vcc in out qm\n.model qm npm\n"), "did you mean 'npn'?");
    refused(F("q1 vcc in out qm\n.model qm njf\n"), "type njf is none for an element q");
    refused(F("x1 in out bufer\n") ".subckt buffer a b\nr1 a b 1\n.ends\n",
            "did you mean 'buffer'?");
    refused(F("x1 in out gnd a\n") ".subckt a p q\nr1 p q 1\n.ends\n", "has 2 ports, but 3 nodes");
    refused(F("x1 in out a rr=2\n") ".subckt a p q r=1\nr1 p q {r}\n.ends\n", "did you mean 'r'?");
    refused(F("r1 in out {lod}\n") ".param load=1\n", "did you mean 'load'?");
    refused(F("r1 in out load\n") ".param load=1\n", "a parameter goes in braces");
    refused(F("b1 out 0 v=sqtr(v(in))\n"), "did you mean 'sqr'?");
    refused(F("b1 out 0 v=tanh(v(in),1)\n"), "tanh() takes 1, not 2 arguments");
    refused(F("b1 out 0 v=sq(1)\n") ".func sq(a,b) {a}\n", "takes 2 arguments, not 1");
    refused(F("b1 out 0 v=v(inn)\n"), "no element is connected to node 'inn'; did you mean 'in'?");
    refused(F("b1 out 0 v=i(v2)\nv1 in 0\n"), "did you mean 'v1'?");
    refused(F("f1 out 0 vx 1\nvs in 0\n"), "no voltage source 'vx'");
    refused(F("k1 l1 l3 0.5\nl1 in 0 1\nl2 in 0 1\n"), "no inductor 'l3'");
    refused(F("k1 l1 l1 0.5\nl1 in 0 1\n"), "coupled to itself");
    refused(F("r1 in out 1 tc3=1\n"), "did you mean 'tc1'?");
    spice made = spice_of(F("r1 in out 1\n"), "g", error);
    assert_null(made.netlist);
    assert_non_null(strstr(tl_error_text(error), "no subcircuit 'g'"));
    spice_free(&made);
}

static void what_makes_no_sense(void** state) {
    (void)state;
    refused(".subckt f a b A\nr1 a b 1\n.ends\n", "this pin is named twice");
    refused(".subckt f a 0\nr1 a 0 1\n.ends\n", "cannot be a port");
    refused(".subckt f\nr1 a 0 1\n.ends\n", "needs ports");
    refused(F(""), "without elements");
    refused(F("r1 in out 1\nR1 in out 2\n"), "element is named twice");
    refused(F("x1 in out a\nX1 in out a\n") ".subckt a p q\nr1 p q 1\n.ends\n", "named twice");
    refused(F("r.1 in out 1\n"), "holds no dot");
    refused(F("r1 in 1k\n"), "expected a value");
    refused(F("r1 in\n"), "expected a node");
    refused(F("r1 in r=1\n"), "too few are given");
    refused(F("r1 in out 1 2\n"), "a second value");
    refused(F("r1 in out 1 r=2\n"), "a second value");
    refused(F("r1 in out 1 tc1=1 tc1=2\n"), "given twice");
    refused(F("r1 in out {v(in)}\n"), "only numbers and parameters fit here");
    refused(F("r1 in out 4k7\n"), "write 4.7k, not 4k7");
    refused(F("c1 in out -1u\n"), "a capacitance below zero");
    refused(F("l1 in out -1u\n"), "an inductance below zero");
    refused(F("r1 in out 1 m=0\n"), "must be above 0");
    refused(F("r1 in out 1 temp=50\n"), "27 C");
    refused(F("k1 l1 l2 1.5\nl1 in 0 1\nl2 out 0 1\n"), "between 0 and 1");
    refused(F("q1 vcc in out\n"), "expected a model");
    refused(F("d1 in out dm\n.model dm d(is=1 is=2)\n"), "given twice");
    refused(F("d1 in out dm\n.model dm d(is)\n"), "expected '='");
    refused(F("d1 in out dm\n.model dm d(is=1\n"), "closing parenthesis");
    refused(F("d1 in out dm\n.model dm d(level=3)\n"), "only level 1 is allowed");
    refused(F("m1 in out 0 0 mm\n.model mm nmos(level=54)\n"), "only level 1 to 3");
    refused(F("b1 out 0 2\n"), "expected v=.. or i=..");
    refused(F("b1 out 0 v=\n"), "the line ends where");
    refused(F("b1 out 0 v=1 2\n"), "nothing more");
    refused(F("b1 out 0 v=(1\n"), "closing parenthesis");
    refused(F("b1 out 0 v=v(in\n"), "closing parenthesis");
    refused(F("b1 out 0 v=1?2\n"), "expected ':'");
    refused(F("e1 out 0 cur={1}\n"), "the other of voltage and current");
    refused(F("e1 out 0 poly(1) in 0 5\n"), "write '0 5'");
    refused(F("r1 in out 1\n.param a=1 a=2\n"), "given twice");
    refused(F("r1 in out 1\n.param f(x)=1\n"), "use .func");
    refused(F("r1 in out 1\n.ic v(nosuch)=1\n"), "has this node");
    refused(F("r1 in out 1\n") F("r1 in out 1\n"), "subcircuit is given twice");
    refused("+ r1 in out 1\n", "a continuation of nothing");
}

/// Any change of a few signs in a good text is read or refused, and what is written is ours.
static void changed_texts(void** state) {
    (void)state;
    static const char good[] =
        ".param k=2 w={k*3}\n.func sq(x) {x*x}\n.model jn njf(vto=-1.2 beta={k*1m})\n"
        ".subckt a p q params: r=1k\nr1 p q {r} tc=1m m=2\nl1 p q 1m\nl2 q 0 2m\nk1 l1 l2 .9\n"
        ".ends\n" F("x1 in out a r={w}\nj1 vcc in s jn 2\nrs s gnd 4.7k ; tail\nv1 s m dc 0\n"
                    "f1 out 0 v1 2\ne1 e 0 poly(2) (out,0) (s,0) 0 1 2\n"
                    "b1 b 0 v=v(in)>2 && i(v1)<1 ? -v(in)**3 : sq(v(out,s))/26m\n"
                    "q1 vcc in out gnd qm area=2\n.model qm npn bf=100\n.ic v(s)=2\n");
    static const char signs[] = "(){}'=,.:+-*/^?<>&|! \n\t$;_~#0159eklmvqxbr\x01\x80`\"";
    static const char ours[] = "abcdefghijklmnopqrstuvwxyz0123456789 .+-*/()=_,<>?:&|!^~\n";
    unsigned seed = 1;
    size_t accepted = 0;
    for (int round = 0; round < 4000; ++round) {
        char text[sizeof good];
        memcpy(text, good, sizeof good);
        for (int change = 0; change < 1 + round % 3; ++change) {
            seed = seed * 1664525U + 1013904223U; // Numerical Recipes' generator (from memory)
            size_t at = (seed >> 8) % (sizeof good - 1);
            seed = seed * 1664525U + 1013904223U;
            text[at] = signs[(seed >> 8) % (sizeof signs - 1)];
        }
        spice made = spice_of_bytes(text, sizeof good - 1, "f", error);
        if (made.netlist) {
            char* written = spice_written(made.netlist, 10);
            if (strspn(written, ours) != strlen(written))
                fail_msg("%s\nwrites\n%s", text, written);
            free(written);
            ++accepted;
        }
        spice_free(&made);
    }
    if (accepted < 100 || accepted > 3600)
        fail_msg("%zu accepted", accepted);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(elements),
        cmocka_unit_test(devices),
        cmocka_unit_test(numbers),
        cmocka_unit_test(expressions),
        cmocka_unit_test(calls),
        cmocka_unit_test(continuations_keep_their_places),
        cmocka_unit_test(paths),
        cmocka_unit_test(other_nodes),
        cmocka_unit_test(links),
        cmocka_unit_test(slips_get_the_nearest_name),
        cmocka_unit_test(what_makes_no_sense),
        cmocka_unit_test(changed_texts),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
