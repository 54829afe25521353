// SPDX-License-Identifier: GPL-3.0-or-later
// Hostile decks. Where a deck is dangerous raw, the ngspice program itself is first seen to run its
// command, to hang or to die of it; then our reader refuses it, or what it writes is harmless.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "spice_text.h"

static char* scratch; // a folder of our own; lower case, since ngspice folds the case of decks
static char* bait;    // the file that a hostile deck makes
static tl_error* error;

static int set_up(void** state) {
    (void)state;
    error = tl_error_new();
    scratch = tl_printf("/tmp/tl-test-decks-%d", (int)getpid());
    bait = tl_printf("%s/bait", scratch);
    if (mkdir(scratch, 0700) != 0)
        return -1;
    char* command =
        tl_printf("printf '.control\\nshell touch %s\\n.endc\\n' >%s/other.cir && "
                  "printf '.lib one\\n.control\\nshell touch %s\\n.endc\\n.endl one\\n' "
                  ">%s/other.lib && mkfifo %s/pipe",
                  bait, scratch, bait, scratch, scratch);
    int status = system(command);
    free(command);
    return status;
}

static int tear_down(void** state) {
    (void)state;
    char* command = tl_printf("rm -rf -- '%s'", scratch);
    int status = system(command);
    free(command);
    free(scratch);
    free(bait);
    tl_error_free(error);
    return status;
}

static bool take_bait(void) {
    bool made = tl_file_exists(bait);
    if (made && unlink(bait) != 0)
        abort();
    return made;
}

/// What a deck does to the ngspice program.
typedef enum { NOTHING, BAIT, CRASH, HANG } harm;

typedef struct {
    const char* name;
    const char* inside;  ///< lines of the subcircuit; '@' stands for the bait's path
    const char* outside; ///< lines after it
    harm raw;
    const char* refusal; ///< words of the error; NULL: it is read, and harmless
} deck;

/// Puts the bait's path in.
static void add_lines(tl_text* text, const char* lines) {
    for (; lines && *lines; ++lines)
        if (*lines == '@')
            tl_text_add(text, bait);
        else
            tl_text_add_bytes(text, lines, 1);
}

static tl_text text_of(const deck* d) {
    tl_text text = {0};
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\n");
    add_lines(&text, d->inside);
    tl_text_add(&text, ".ends\n");
    add_lines(&text, d->outside);
    return text;
}

#define DRIVEN                                                                                     \
    "v1 in 0 dc 1 ac 1\nrl out 0 1k\nrv vcc 0 1k\nx9 in out vcc 0 f\n.op\n.print op "              \
    "v(out)\n.end\n"

/// Proves the danger, where there is one.
static void check_raw(const char* name, const tl_text* text, harm expected) {
    if (expected == NOTHING)
        return;
    tl_text raw = {0};
    tl_text_add(&raw, "title\n");
    tl_text_add_bytes(&raw, text->data, text->size);
    tl_text_add(&raw, DRIVEN);
    run_end end = run_ngspice(scratch, raw.data, raw.size, expected == HANG ? 1 : 60);
    harm found = take_bait() ? BAIT : end == CRASHED ? CRASH : end == HUNG ? HANG : NOTHING;
    if (found != expected)
        fail_msg("%s: raw ngspice did %d, not %d", name, (int)found, (int)expected);
    tl_text_free(&raw);
}

/// What was written holds our own signs only, and running it makes no bait.
static void check_written(const char* name, const tl_netlist* netlist) {
    static const char allowed[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
                                  " .+-*/()=_,<>?:&|!^~\n";
    char* written = spice_written(netlist, 20);
    if (strspn(written, allowed) != strlen(written))
        fail_msg("%s: writes '%s'", name, written);
    char* run =
        tl_printf("title\n%sv1 1 0 1\nr1 2 0 1k\nr2 3 0 1k\nr3 4 0 1k\n.op\n.end\n", written);
    run_end end = run_ngspice(scratch, run, strlen(run), 60);
    if (end != RAN || take_bait())
        fail_msg("%s: harmful when written: %s", name, written);
    free(run);
    free(written);
}

static void check_text(const char* name, const tl_text* text, harm raw, const char* refusal) {
    check_raw(name, text, raw);
    spice made = spice_of_bytes(text->data, text->size, "f", error);
    if (take_bait())
        fail_msg("%s: reading it made the bait", name);
    if (!refusal && !made.netlist)
        fail_msg("%s: refused: %s", name, tl_error_text(error));
    if (refusal && made.netlist)
        fail_msg("%s: accepted", name);
    if (refusal && (!strstr(tl_error_text(error), refusal) ||
                    strncmp(tl_error_text(error), "user.cir:", 9) != 0))
        fail_msg("%s: refused with other words: %s", name, tl_error_text(error));
    if (made.netlist)
        check_written(name, made.netlist);
    spice_free(&made);
}

static void check_all(const deck* decks, size_t count) {
    for (size_t i = 0; i < count; ++i) {
        tl_text text = text_of(&decks[i]);
        check_text(decks[i].name, &text, decks[i].raw, decks[i].refusal);
        tl_text_free(&text);
    }
}

#define COUNT(list) (sizeof(list) / sizeof *(list))

// ---- commands

static void commands_are_not_run(void** state) {
    (void)state;
    static const deck decks[] = {
        {"control", NULL, ".control\nshell touch @\n.endc\n", BAIT, "'.control'"},
        {"control inside", ".control\nshell touch @\n.endc\n", NULL, BAIT, "'.control'"},
        {"control in capitals", NULL, "  .CONTROL\nshell touch @\n.ENDC\n", BAIT, "'.CONTROL'"},
        {"control without end", NULL, ".control\nshell touch @\n", BAIT, "runs commands"},
        {"control, carriage returns", NULL, ".control\r\nshell touch @\r\n.endc\r\n", BAIT,
         "'.control'"},
        {"control after .end", NULL, ".end\n.control\nshell touch @\n.endc\n", BAIT,
         "text after .end"},
        {"comment after .end", NULL, ".end\n*# shell touch @\n", BAIT, NULL},
        {"control under .if", NULL, ".if (1)\n.control\nshell touch @\n.endc\n.endif\n", BAIT,
         "'.if'"},
        {"command comment", NULL, "*# shell touch @\n", BAIT, NULL},
        {"command comment inside", "*# shell touch @\n", NULL, BAIT, NULL},
        {"command comment, no blank", NULL, "*#shell touch @\n", BAIT, NULL},
        {"command comment, blanks", NULL, "*#     shell touch @\n", BAIT, NULL},
        {"command comment, tab", NULL, "*#\tshell touch @\n", BAIT, NULL},
        {"command comment, echo to a file", NULL, "*# echo hello > @\n", BAIT, NULL},
        {"command comment, back-quote", NULL, "*# echo `touch @`\n", BAIT, "back-quote"},
        {"command comment, set", NULL, "*# set x = `touch @`\n", BAIT, "back-quote"},
        {"command comment, write", NULL, "*# op\n*# write @\n", BAIT, NULL},
        {"command comment, hardcopy", NULL, "*# op\n*# hardcopy @ v(out)\n", BAIT, NULL},
        {"echo in control", NULL, ".control\necho hello > @\n.endc\n", BAIT, "'.control'"},
        {"wrdata in control", NULL, ".control\nop\nset wr_singlescale\nwrdata @ v(out)\n.endc\n",
         NOTHING, "'.control'"},
        {"back-quote in control", NULL, ".control\necho `touch @`\n.endc\n", BAIT, "back-quote"},
        {"csparam and a comment", NULL, ".csparam a={1}\n*# shell touch @\n", BAIT, "'.csparam'"},
        {"shell alone", NULL, "shell touch @\n", NOTHING, "outside every subcircuit"},
        {"shell inside", "shell touch @\n", NULL, NOTHING, "expected a node"},
        {"echo alone", "echo hello > @\n", NULL, NOTHING, "expected"},
        {"set alone", "set x = 1\n", NULL, NOTHING, "expected"},
        {"exclamation mark", "!touch @\n", NULL, NOTHING, "begins no line"},
        {"number sign", "# shell touch @\n", NULL, NOTHING, "begins no line"},
        {"dot exec", ".exec touch @\n", NULL, NOTHING, "'.exec'"},
        {"dot shell", ".shell touch @\n", NULL, NOTHING, "'.shell'"},
        {"endless loop", NULL, ".control\nwhile 1\nend\n.endc\n", HANG, "'.control'"},
        {"semicolons", "r2 out gnd 1k ; shell touch @\n", NULL, NOTHING, NULL},
        {"NUL before control", NULL, "*\1\n.control\nshell touch @\n.endc\n", BAIT,
         "control character"},
        {"joined to a command comment", NULL, "*#\n+ shell touch @\n", NOTHING, "another"},
    };
    check_all(decks, COUNT(decks));
}

/// The first line: a title to ngspice, or more.
static void first_lines_are_lines(void** state) {
    (void)state;
    static const struct {
        const char* text;
        harm raw;
        const char* refusal;
    } rows[] = {
        {"*ng_script\nshell touch @\n", BAIT, "outside every subcircuit"},
        {"*ng_script_with_params\nshell touch @\n", BAIT, "outside every subcircuit"},
        {"`touch @`\n.subckt f a b\nr1 a b 1\n.ends\n", NOTHING, "back-quote"},
        {"My buffer\n.subckt f a b\nr1 a b 1\n.ends\n", NOTHING, "no title line"},
        {"* `touch @`\n.subckt f a b\nr1 a b 1\n.ends\n", NOTHING, "back-quote"},
    };
    for (size_t i = 0; i < COUNT(rows); ++i) {
        tl_text text = {0};
        add_lines(&text, rows[i].text);
        run_end end = run_ngspice(scratch, text.data, text.size, 60);
        assert_int_equal(end, RAN);
        assert_int_equal(take_bait(), rows[i].raw == BAIT);
        spice made = spice_of_bytes(text.data, text.size, "f", error);
        assert_null(made.netlist);
        if (!strstr(tl_error_text(error), rows[i].refusal))
            fail_msg("%s", tl_error_text(error));
        spice_free(&made);
        tl_text_free(&text);
    }
}

// ---- back-quotes and strings

static void back_quotes_are_refused(void** state) {
    (void)state;
    static const char* const lines[] = {
        "r2 out gnd `touch @`\n",
        "r2 out gnd 1k $ `touch @`\n",
        "r2 out gnd 1k ; `touch @`\n",
        "r2 out gnd 1k // `touch @`\n",
        "* `touch @`\n",
        ".param a=`touch @`\n",
        ".param a='`touch @`'\n",
        "b2 out gnd v=`touch @`\n",
        "b2 out gnd v='`touch @`'\n",
        ".model d d(is=`touch @`)\n",
        ".ic v(out)=`touch @`\n",
        ".func f(x) `touch @`\n",
        "r2 out `touch 1k\n",
        "+ `touch @`\n",
    };
    for (size_t i = 0; i < COUNT(lines); ++i) {
        const deck inside = {lines[i], lines[i], NULL, NOTHING, "back-quote"};
        check_all(&inside, 1);
    }
}

static void comments_are_gone(void** state) {
    (void)state;
    static const deck decks[] = {
        {"tail $", "r2 out gnd 1k $ shell touch @\n", NULL, NOTHING, NULL},
        {"tail ;", "r2 out gnd 1k;shell touch @\n", NULL, NOTHING, NULL},
        {"tail //", "r2 out gnd 1k//shell touch @\n", NULL, NOTHING, NULL},
        {"tail ,$", "r2 out gnd 1k,$shell touch @\n", NULL, NOTHING, NULL},
        {"line $", "$ shell touch @\n", NULL, NOTHING, NULL},
        {"line ;", "; shell touch @\n", NULL, NOTHING, NULL},
        {"not UTF-8", "* caf\xe9 \xff\xfe\n", NULL, NOTHING, NULL},
        {"UTF-8", "* \xce\xa9 \xe2\x80\xae\n", NULL, NOTHING, NULL},
        {"byte order mark", NULL, "\xef\xbb\xbf* mark\n", NOTHING, "outside ASCII"},
    };
    check_all(decks, COUNT(decks));
}

// ---- files

static void files_are_not_read(void** state) {
    (void)state;
    static const deck decks[] = {
        {"include", NULL, ".include other.cir\n", BAIT, "'.include'"},
        {"include, quoted", NULL, ".INC 'other.cir'\n", BAIT, "'.INC'"},
        {"include, double quotes", NULL, ".include \"other.cir\"\n", BAIT, "double quotes"},
        {"include inside", ".include other.cir\n", NULL, BAIT, "'.include'"},
        {"include a pipe", NULL, ".include pipe\n", HANG, "'.include'"},
        {"include without end", NULL, ".include /dev/zero\n", HANG, "'.include'"},
        {"include itself", NULL, ".include deck.cir\n", CRASH, "'.include'"},
        {"include a command", NULL, ".include |touch @\n", NOTHING, "'.include'"},
        {"lib", NULL, ".lib other.lib one\n", BAIT, "'.lib'"},
        {"lib inside", ".lib other.lib one\n", NULL, BAIT, "'.lib'"},
        {"filesource", "a1 %v([out]) fs\n.model fs filesource(file=other.cir)\n", NULL, NOTHING,
         "begins no line"},
        {"filesource model", ".model fs filesource(file=other.cir)\n", NULL, NOTHING,
         "model types"},
        {"file in quotes", ".model fs d(file=\"other.cir\")\n", NULL, NOTHING, "double quotes"},
        {"pwl file", "v2 out gnd pwl file=other.cir\n", NULL, NOTHING, "no signal of its own"},
        {"pwlfile", "v2 out gnd pwlfile other.cir\n", NULL, NOTHING, "no signal of its own"},
        {"write", NULL, ".write @ v(out)\n", NOTHING, "'.write'"},
        {"save", NULL, ".save all\n", NOTHING, "'.save'"},
        {"print", NULL, ".print op v(out) > @\n", NOTHING, "'.print'"},
        {"plot", NULL, ".plot ac v(out)\n", NOTHING, "'.plot'"},
        {"meas", NULL, ".meas tran a max v(out)\n", NOTHING, "'.meas'"},
        {"four", NULL, ".four 1k v(out)\n", NOTHING, "'.four'"},
        {"hdl", NULL, ".hdl other.cir\n", NOTHING, "'.hdl'"},
    };
    check_all(decks, COUNT(decks));
}

// ---- cards and elements that are on no list

static void other_lines_are_refused(void** state) {
    (void)state;
    static const deck decks[] = {
        {"csparam", NULL, ".csparam a=1\n", NOTHING, "'.csparam'"},
        {"temp", NULL, ".temp 300\n", NOTHING, "27 C"},
        {"options", NULL, ".options reltol=0\n", NOTHING, "the bench's business"},
        {"global", NULL, ".global vcc\n", NOTHING, "'.global'"},
        {"title", NULL, ".title a\n", NOTHING, "'.title'"},
        {"if", NULL, ".if (\n.elseif\n.endif\n", NOTHING, "'.if'"},
        {"elseif", ".elseif (1)\n", NULL, NOTHING, "'.elseif'"},
        {"tran", NULL, ".tran 1f 1\n", NOTHING, "analysis"},
        {"probe", NULL, ".probe alli\n", NOTHING, "'.probe'"},
        {"ends too many", NULL, ".ends\n", NOTHING, "without a .subckt"},
        {"ends of another", ".subckt g a b\nr1 a b 1\n.ends f\n", NULL, NOTHING, "another"},
        {"subckt without end", ".subckt g a b\nr1 a b 1\n", NULL, NOTHING, "no .ends"},
        {"subckt without name", ".subckt\n.ends\n", NULL, NOTHING, "a subcircuit's name"},
        {"a", "a1 in out m\n", NULL, NOTHING, "begins no line"},
        {"n", "n1 in out m\n", NULL, NOTHING, "begins no line"},
        {"o", "o1 in 0 out 0 m\n", NULL, NOTHING, "begins no line"},
        {"p", "p1 in 0 out 0 m\n", NULL, NOTHING, "begins no line"},
        {"t", "t1 in 0 out 0 z0=50\n", NULL, NOTHING, "begins no line"},
        {"u", "u1 in out 0 m\n", NULL, NOTHING, "begins no line"},
        {"w", "w1 in out v1 m\n", NULL, NOTHING, "begins no line"},
        {"y", "y1 in 0 out 0 m\n", NULL, NOTHING, "begins no line"},
        {"z", "z1 in out 0 m\n", NULL, NOTHING, "begins no line"},
        {"outside", NULL, "r7 in 0 1k\n", NOTHING, "outside every subcircuit"},
        {"table", "e2 out 0 table {v(in)} = (0,0) (1,1)\n", NULL, NOTHING, "not allowed"},
        {"laplace", "e2 out 0 laplace {v(in)} = {1/(1+s)}\n", NULL, NOTHING, "not allowed"},
        {"model without anything", ".model\n", NULL, CRASH, "a model's name"},
        {"ic without end", NULL, ".ic v(\n", CRASH, "no nodes to set"},
        {"ic without end inside", ".ic v(\n", NULL, NOTHING, "a node"},
        {"pwl without points", "b2 out 0 v=pwl(v(in))\n", NULL, CRASH, "pwl() is none"},
        {"random", ".param a=agauss(1,1,1)\nr2 out 0 {a}\n", NULL, NOTHING, "agauss() is none"},
        {"call in braces", "r2 out 0 {system(1)}\n", NULL, NOTHING, "system() is none"},
        {"time", "b2 out 0 v=sin(6.28*time)\n", NULL, NOTHING, "no signal of its own"},
        {"sine", "v2 out 0 sin(0 1 1k)\n", NULL, NOTHING, "no signal of its own"},
        {"ac", "v2 out 0 dc 1 ac 1\n", NULL, NOTHING, "no signal of its own"},
        {"lookalike letters", ".p\xd0\xb0ram a=1\n", NULL, NOTHING, "outside ASCII"},
        {"no-break space", "r2 out\xc2\xa0gnd 1k\n", NULL, NOTHING, "outside ASCII"},
        {"line separator", NULL, "\xe2\x80\xa8.control\n", NOTHING, "outside ASCII"},
        {"form feed", "r2 out gnd 1k\f\n", NULL, NOTHING, "control character"},
        {"carriage return inside", "r2 out gnd 1k\r.control\n", NULL, NOTHING, "control character"},
        {"tabs", "r2\tout\tgnd\t1k\n", NULL, NOTHING, NULL},
        {"formats", "r2 out %s%n%n%n 1k\n", NULL, NOTHING, NULL},
        {"commands as nodes", "r2 out shell 1k\nr3 shell /bin/sh 1\nr4 /bin/sh |touch 1\n", NULL,
         NOTHING, NULL},
        {"path as a model", ".model ../../etc/passwd d(is=1f)\nd2 out gnd ../../etc/passwd\n", NULL,
         NOTHING, NULL},
        {"shell signs in a model", ".model a;touch_b d\n", NULL, NOTHING, "model's type"},
        {"dollar in a model", ".model a$(touch) d\n", NULL, NOTHING, "in a comment only"},
        {"shell signs in a node", "r2 out a|b&c>d 1k\n", NULL, NOTHING, NULL},
    };
    check_all(decks, COUNT(decks));
}

// ---- too much of anything

static void add_times(tl_text* text, const char* words, size_t times) {
    for (size_t i = 0; i < times; ++i)
        tl_text_add(text, words);
}

static void wrap(tl_text* text, const char* before, size_t times, const char* after) {
    tl_text_add(text, ".subckt f in out vcc gnd\nrf in out 1k\n");
    add_times(text, before, times);
    tl_text_add(text, after);
    tl_text_add(text, "\n.ends\n");
}

static void check_big(const char* name, tl_text* text, harm raw, const char* refusal) {
    check_text(name, text, raw, refusal);
    tl_text_free(text);
}

static void nothing_grows_without_end(void** state) {
    (void)state;
    tl_text text = {0};
    static const deck decks[] = {
        {"calls itself", "x1 in out vcc gnd f\n", NULL, NOTHING, "calls itself"},
        {"call each other", "x1 in out a\n",
         ".subckt a p q\nx1 p q b\n.ends\n.subckt b p q\nx1 p q a\n.ends\n", NOTHING,
         "calls itself, by way of others"},
        {"function calls itself", "b2 out 0 v=g(v(in))\n.func g(x) {g(x)+1}\n", NULL, CRASH,
         "call itself"},
        {"functions call each other", ".param p={g(1)}\nr2 out 0 {p}\n",
         ".func g(x) {h(x)}\n.func h(x) {g(x)}\n", CRASH, "call itself"},
        {"parameter of itself", ".param a={a+1}\nr2 out 0 {a}\n", NULL, NOTHING,
         "depends on itself"},
        {"parameters of each other", "r2 out 0 {a}\n", ".param a={b} b={a}\n", NOTHING,
         "depends on itself"},
        {"poly of two thousand million", "e2 out 0 poly(2000000000) in 0 1\n", NULL, NOTHING,
         "1 to 10 inputs"},
        {"poly of fewer than none", "e2 out 0 poly(-1) in 0 1\n", NULL, NOTHING, "1 to 10 inputs"},
        {"number without end", "r2 out 0 1e999\n", NULL, NOTHING, "beyond 1e30"},
        {"no number", "r2 out 0 {0/0}\n", NULL, NOTHING, "not a number"},
        {"infinite", "r2 out 0 {1/0}\n", NULL, NOTHING, "more than 1e30"},
        {"0 ohm", "r2 out 0 0\n", NULL, NOTHING, "leave it out"},
    };
    check_all(decks, COUNT(decks));
    for (int i = 0; i < 20; ++i)
        tl_text_addf(&text, ".subckt s%d a b\nx1 a m s%d\nx2 m b s%d\n.ends\n", i, i + 1, i + 1);
    tl_text_add(&text, ".subckt s20 a b\nr1 a b 1\n.ends\n");
    wrap(&text, "", 0, "x1 in out s1\n");
    check_big("a million calls", &text, HANG, "more than 5,000 subcircuits");
    for (int i = 0; i < 24; ++i)
        tl_text_addf(&text, ".func f%d(x) {f%d(x)+f%d(x)}\n", i, i + 1, i + 1);
    tl_text_add(&text, ".func f24(x) {x}\n");
    wrap(&text, "", 0, "b2 out 0 v=f0(v(in))\n");
    check_big("sixteen million terms", &text, HANG, "of more than 2000 terms");
    for (int i = 0; i < 24; ++i)
        tl_text_addf(&text, ".func f%d(x) {f%d(x)+f%d(x)}\n", i, i + 1, i + 1);
    tl_text_add(&text, ".func f24(x) {x}\n");
    wrap(&text, "", 0, "r2 out 0 {f0(1)}\n");
    check_big("sixteen million steps", &text, NOTHING, "500000 steps");
}

static void nothing_is_too_long(void** state) {
    (void)state;
    tl_text text = {0};
    tl_text after = {0};
    add_times(&after, ")", 3000);
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\nb2 out 0 v=1+");
    add_times(&text, "(", 3000);
    tl_text_addf(&text, "1%s\n.ends\n", tl_text_get(&after));
    check_big("3,000 parentheses", &text, NOTHING, "100 deep");
    tl_text_free(&after);
    wrap(&text, "(", 500000, "");
    check_big("half a million parentheses", &text, NOTHING, "8,000 characters");
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\nr2 out 0 ");
    add_times(&text, "{", 3000);
    add_times(&text, "}", 3000);
    tl_text_add(&text, "\n.ends\n");
    check_big("3,000 braces", &text, NOTHING, "100 deep");
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\nb2 out 0 v=");
    add_times(&text, "-", 5000);
    tl_text_add(&text, "1\n.ends\n");
    check_big("5,000 signs", &text, NOTHING, "deep");
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\nb2 out 0 v=1");
    add_times(&text, "+1", 2500);
    tl_text_add(&text, "\n.ends\n");
    check_big("2,500 sums", &text, NOTHING, "250 operators");
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\nr2 out ");
    add_times(&text, "n", 10000);
    tl_text_add(&text, " 1k\n.ends\n");
    check_big("a name of 10,000 letters", &text, NOTHING, "8,000 characters");
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\nr2 out ");
    add_times(&text, "n", 1000);
    tl_text_add(&text, " 1k\n.ends\n");
    check_big("a name of 1,000 letters", &text, NOTHING, "64 letters");
    tl_text_add(&text, ".subckt f in out vcc gnd\nrf in out 1k\nr2 out gnd\n");
    add_times(&text, "+\n", 19000);
    tl_text_add(&text, "+ 1k\n.ends\n");
    check_big("19,000 continuations", &text, NOTHING, "8,000 characters");
    wrap(&text, "* nothing\n", 20000, "");
    check_big("20,000 lines", &text, NOTHING, "20,000 lines");
    wrap(&text, "* ......................................................................\n", 14000,
         "");
    check_big("more than 1 MB", &text, NOTHING, "1 MB");
}

static void nothing_is_too_many(void** state) {
    (void)state;
    tl_text text = {0};
    for (int i = 0; i < 6000; ++i)
        tl_text_addf(&text, ".param p%d={p%d}\n", i, i + 1);
    wrap(&text, "", 0, "r2 out 0 {p0}\n");
    check_big("6,000 parameters", &text, HANG, "more than 1000 parameters");
    for (int i = 0; i < 900; ++i)
        tl_text_addf(&text, ".param p%d={p%d+1}\n", i, i + 1);
    tl_text_add(&text, ".param p900=1\n");
    wrap(&text, "", 0, "r2 out 0 {p0}\n");
    check_big("900 parameters of each other", &text, NOTHING, "too deep");
    tl_text_add(&text, ".subckt f in out vcc gnd\n");
    for (int i = 0; i < 5001; ++i)
        tl_text_addf(&text, "r%d in out 1k\n", i);
    tl_text_add(&text, ".ends\n");
    check_big("5,001 elements", &text, NOTHING, "more than 5000 elements");
    tl_text_add(&text, ".subckt g a b\n");
    add_times(&text, "", 0);
    for (int i = 0; i < 100; ++i)
        tl_text_addf(&text, "r%d a b 1k\n", i);
    tl_text_add(&text, ".ends\n.subckt f in out vcc gnd\n");
    for (int i = 0; i < 60; ++i)
        tl_text_addf(&text, "x%d in out g\n", i);
    tl_text_add(&text, ".ends\n");
    check_big("6,000 flat elements", &text, NOTHING, "more than 5,000 elements");
    tl_text_add(&text, ".subckt f in out vcc gnd\n");
    for (int i = 0; i < 3000; ++i)
        tl_text_addf(&text, "g%d in out a%d b%d 1\n", i, i, i);
    tl_text_add(&text, ".ends\n");
    check_big("6,000 nodes", &text, NOTHING, "more than 5,000 nodes");
    for (int i = 0; i < 21; ++i)
        tl_text_addf(&text, ".subckt s%d a b\n", i);
    check_big("21 subcircuits deep", &text, NOTHING, "20 deep");
}

static void bytes_that_are_no_text(void** state) {
    (void)state;
    static const char zero[] = ".subckt f in out vcc gnd\nr1 in out 1k\nr2 in\0out 1k\n.ends\n";
    tl_text text = {0};
    tl_text_add_bytes(&text, zero, sizeof zero - 1);
    check_big("NUL", &text, NOTHING, "control character");
    spice nothing = spice_of("", "f", error);
    assert_null(nothing.netlist);
    assert_non_null(strstr(tl_error_text(error), "no subcircuit 'f'"));
    spice_free(&nothing);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(commands_are_not_run),      cmocka_unit_test(first_lines_are_lines),
        cmocka_unit_test(back_quotes_are_refused),   cmocka_unit_test(comments_are_gone),
        cmocka_unit_test(files_are_not_read),        cmocka_unit_test(other_lines_are_refused),
        cmocka_unit_test(nothing_grows_without_end), cmocka_unit_test(nothing_is_too_long),
        cmocka_unit_test(nothing_is_too_many),       cmocka_unit_test(bytes_that_are_no_text),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
