// SPDX-License-Identifier: GPL-3.0-or-later
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/text.h"
#include "closed_form.h"
#include "show/gnuplot.h"
#include "show/script.h"

#include <dirent.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>

static char here[64];

static int enter(void** state) {
    (void)state;
    enter_folder(here);
    setenv("TMPDIR", here, 1); // private folders show up here, if they stay
    return 0;
}

static int leave(void** state) {
    (void)state;
    unsetenv("TMPDIR");
    leave_folder(here);
    return 0;
}

/// Runs a script and says how it ended; `*said` is the error's text (free with free()).
static tl_status run(const char* script, int limit_ms, char** said, size_t* size) {
    tl_error* error = tl_error_new();
    char* bytes = NULL;
    *size = 0;
    tl_status status = tl_gnuplot_run(script, "out", limit_ms, &bytes, size, error);
    *said = tl_copy(tl_error_text(error));
    free(bytes);
    tl_error_free(error);
    return status;
}

static size_t folders_left(void) {
    size_t left = 0;
    DIR* folder = opendir(here);
    for (struct dirent* entry; (entry = readdir(folder));)
        left += strncmp(entry->d_name, "toneload-plot-", 14) == 0;
    closedir(folder);
    return left;
}

static void check_failure(const char* script, int limit_ms, const char* expected) {
    char* said;
    size_t size;
    assert_int_equal(run(script, limit_ms, &said, &size), TL_FAILURE);
    if (!strstr(said, expected))
        fail_msg("\"%s\" says nothing of \"%s\"", said, expected);
    assert_int_equal(folders_left(), 0);
    free(said);
}

static void the_picture_comes_back_and_the_folder_goes(void** state) {
    (void)state;
    char* said;
    size_t size;
    assert_int_equal(run("set print 'out'\nprint 'hello'\n", 10000, &said, &size), TL_OK);
    assert_int_equal(size, 6);
    assert_string_equal(said, "");
    assert_int_equal(folders_left(), 0);
    free(said);
}

static void complaints_are_passed_on(void** state) {
    (void)state;
    check_failure("set nonsense\n", 10000, "unrecognized option");
    check_failure("exit\n", 10000, "it gave no reason");
    check_failure("set print 'out'\nexit status 3\n", 10000, "gnuplot did not draw");
}

static void a_hanging_run_is_ended(void** state) {
    (void)state;
    struct timespec before, after;
    clock_gettime(CLOCK_MONOTONIC, &before);
    check_failure("while (1) { x = 1 }\n", 300, "took longer than 0.3 seconds");
    check_failure("pause 30\n", 300, "took longer than 0.3 seconds");
    clock_gettime(CLOCK_MONOTONIC, &after);
    assert_true(after.tv_sec - before.tv_sec < 10);
    assert_int_equal(waitpid(-1, NULL, WNOHANG), -1); // no child is left, not even a dead one
}

// A script far larger than a socket holds, to a gnuplot that has already gone: without the guard
// the write raises SIGPIPE, whose default is to end the program.
static void a_gnuplot_that_goes_early_does_not_kill_the_host(void** state) {
    (void)state;
    size_t size = 4000000;
    char* script = tl_new(size + 1, 1);
    memset(script, '#', size);
    for (size_t i = 60; i < size; i += 60)
        script[i] = '\n';
    memcpy(script, "exit status 4\n", 14);
    void (*before)(int) = signal(SIGPIPE, SIG_DFL);
    check_failure(script, 20000, "gnuplot did not draw");
    signal(SIGPIPE, before);
    free(script);
}

static void long_complaints_neither_block_nor_flood(void** state) {
    (void)state;
    char* said;
    size_t size;
    const char* chatter = "do for [i=1:20000] { print 'a line of chatter that fills the pipe' }\n"
                          "set nonsense\n";
    assert_int_equal(run(chatter, 20000, &said, &size), TL_FAILURE);
    assert_true(strlen(said) < 5000);
    free(said);
}

static void a_missing_gnuplot_is_said_in_words(void** state) {
    (void)state;
    char* path = tl_copy(getenv("PATH"));
    setenv("PATH", here, 1);
    check_failure("exit\n", 1000, "gnuplot was not found");
    setenv("PATH", path, 1);
    free(path);
}

static void a_host_that_ignores_its_children_is_served(void** state) {
    (void)state;
    void (*before)(int) = signal(SIGCHLD, SIG_IGN);
    char* said;
    size_t size;
    assert_int_equal(run("set print 'out'\nprint 'hello'\n", 10000, &said, &size), TL_OK);
    signal(SIGCHLD, before);
    free(said);
}

static void start_up_files_are_not_run(void** state) {
    (void)state;
    static const char trap[] = "system 'touch caught'\n";
    assert_int_equal(tl_file_write(".gnuplot", trap, sizeof trap - 1, NULL), TL_OK);
    assert_int_equal(tl_file_write("gnuplotrc", trap, sizeof trap - 1, NULL), TL_OK);
    char* home = tl_copy(getenv("HOME"));
    setenv("HOME", here, 1);
    assert_int_equal(system("gnuplot -e 'x = 1'"), 0);
    assert_true(tl_file_exists("caught")); // the trap is real
    unlink("caught");
    setenv("GNUPLOT_LIB", here, 1);
    the_picture_comes_back_and_the_folder_goes(NULL);
    assert_false(tl_file_exists("caught"));
    size_t size;
    const char* asks = "set print 'out'\nprint system('echo $HOME $GNUPLOT_LIB $USER; ls -A')\n";
    char* bytes = NULL;
    assert_int_equal(tl_gnuplot_run(asks, "out", 10000, &bytes, &size, NULL), TL_OK);
    assert_non_null(strstr(bytes, "/toneload-plot-"));
    assert_null(strstr(bytes, ".gnuplot"));
    free(bytes);
    unsetenv("GNUPLOT_LIB");
    if (home)
        setenv("HOME", home, 1);
    free(home);
}

/// What gnuplot takes a quoted string for.
static char* read_back(const char* words) {
    tl_text script = {0};
    tl_text_add(&script, "set print 'out'\nprint ");
    tl_script_quote(&script, words);
    tl_text_add(&script, "\n");
    char* bytes = NULL;
    size_t size = 0;
    assert_int_equal(tl_gnuplot_run(tl_text_get(&script), "out", 10000, &bytes, &size, NULL),
                     TL_OK);
    bytes[size - 1] = '\0';
    tl_text_free(&script);
    return bytes;
}

static void quoted_words_come_back_as_they_are(void** state) {
    (void)state;
    static const char* const words[] = {
        "plain",
        "'",
        "''",
        "'''",
        "''''a''''b'",
        "a'",
        "'a",
        "\\",
        "\\'",
        "a\\",
        "\"",
        "'\"'`touch caught`'\"'",
        "`touch caught`",
        "$(touch caught)",
        "@HOME @x",
        "%d %s %n",
        "{/Bold x}^2_3",
        "'.system('touch caught').'",
        "''.system(\"touch caught\").''",
        "' system \"touch caught\" '",
        "# a; system 'touch caught'",
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; ++i) {
        char* back = read_back(words[i]);
        assert_string_equal(back, words[i]);
        free(back);
    }
    char* back = read_back("a\nsystem 'touch caught'\n\xff\x1b");
    assert_string_equal(back, "a\\x0asystem 'touch caught'\\x0a\\xff\\x1b");
    free(back);
    assert_false(tl_file_exists("caught"));
}

// Quotes in every mixture with the letters around them, against gnuplot's own reading of them.
static void any_row_of_quotes_comes_back(void** state) {
    (void)state;
    static const char letters[] = "'a\\\"`";
    tl_text script = {0}, expected = {0};
    tl_text_add(&script, "set print 'out'\n");
    for (unsigned number = 0; number < 3125; ++number) {
        char words[6] = {0};
        for (unsigned i = 0, rest = number; i < 5; ++i, rest /= 5)
            words[i] = letters[rest % 5];
        tl_text_add(&script, "print ");
        tl_script_quote(&script, words);
        tl_text_add(&script, "\n");
        tl_text_addf(&expected, "%s\n", words);
    }
    char* bytes = NULL;
    size_t size = 0;
    assert_int_equal(tl_gnuplot_run(tl_text_get(&script), "out", 20000, &bytes, &size, NULL),
                     TL_OK);
    assert_string_equal(bytes, tl_text_get(&expected));
    free(bytes);
    tl_text_free(&script);
    tl_text_free(&expected);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_picture_comes_back_and_the_folder_goes),
        cmocka_unit_test(complaints_are_passed_on),
        cmocka_unit_test(a_hanging_run_is_ended),
        cmocka_unit_test(a_gnuplot_that_goes_early_does_not_kill_the_host),
        cmocka_unit_test(long_complaints_neither_block_nor_flood),
        cmocka_unit_test(a_missing_gnuplot_is_said_in_words),
        cmocka_unit_test(a_host_that_ignores_its_children_is_served),
        cmocka_unit_test(start_up_files_are_not_run),
        cmocka_unit_test(quoted_words_come_back_as_they_are),
        cmocka_unit_test(any_row_of_quotes_comes_back),
    };
    return cmocka_run_group_tests(tests, enter, leave);
}
