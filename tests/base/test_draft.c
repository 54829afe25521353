// SPDX-License-Identifier: GPL-3.0-or-later
// Drafts: whole under their name, or not there at all.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/draft.h"
#include "base/file.h"

#include <cmocka.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[64];

static int enter(void** unused) {
    (void)unused;
    snprintf(folder, sizeof folder, "/tmp/toneload-draft-XXXXXX");
    return mkdtemp(folder) && chdir(folder) == 0 ? 0 : -1;
}

static int leave(void** unused) {
    (void)unused;
    return chdir("/") == 0 && rmdir(folder) == 0 ? 0 : -1;
}

/// Names in the folder, "." and ".." not counted.
static int count_names(void) {
    DIR* here = opendir(".");
    assert_non_null(here);
    int count = -2;
    while (readdir(here))
        ++count;
    closedir(here);
    return count;
}

static void write_draft(const tl_draft* draft, const char* words) {
    assert_true(tl_file_put(tl_draft_descriptor(draft), words, strlen(words)));
}

static void assert_holds(const char* path, const char* words) {
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read(path, 1000, &text, &size, NULL), TL_OK);
    assert_string_equal(text, words);
    free(text);
}

static void test_keeps(void** unused) {
    (void)unused;
    tl_draft* draft = NULL;
    assert_int_equal(tl_draft_open("sound", &draft, NULL), TL_OK);
    write_draft(draft, "first");
    assert_false(tl_file_exists("sound"));
    assert_int_equal(tl_draft_finish(draft, NULL), TL_OK);
    assert_int_equal(tl_draft_keep(draft, NULL), TL_OK);
    tl_draft_free(draft);
    assert_holds("sound", "first");
    assert_int_equal(count_names(), 1);

    char* path = realpath("sound", NULL);
    assert_non_null(path);
    assert_int_equal(tl_draft_open(path, &draft, NULL), TL_OK);
    write_draft(draft, "second");
    assert_holds("sound", "first");
    assert_int_equal(tl_draft_keep(draft, NULL), TL_OK);
    tl_draft_free(draft);
    assert_holds("sound", "second");
    assert_int_equal(count_names(), 1);
    unlink("sound");
    free(path);
}

static void test_drops(void** unused) {
    (void)unused;
    tl_draft* draft = NULL;
    assert_int_equal(tl_draft_open("sound", &draft, NULL), TL_OK);
    write_draft(draft, "half");
    tl_draft_free(draft);
    assert_int_equal(count_names(), 0);
    tl_draft_free(NULL);
}

static void test_mode_follows_umask(void** unused) {
    (void)unused;
    mode_t before = umask(027);
    tl_draft* draft = NULL;
    assert_int_equal(tl_draft_open("sound", &draft, NULL), TL_OK);
    assert_int_equal(tl_draft_keep(draft, NULL), TL_OK);
    tl_draft_free(draft);
    umask(before);
    struct stat about;
    assert_int_equal(stat("sound", &about), 0);
    assert_int_equal(about.st_mode & 0777, 0640);
    unlink("sound");
}

static void test_refuses(void** unused) {
    (void)unused;
    tl_error* error = tl_error_new();
    tl_draft* draft = NULL;
    assert_int_equal(mkdir("sound", 0777), 0);
    assert_int_equal(tl_draft_open("sound", &draft, error), TL_FAILURE);
    assert_null(draft);
    assert_non_null(strstr(tl_error_text(error), "Is a directory"));
    assert_int_equal(rmdir("sound"), 0);
    assert_int_equal(tl_draft_open("nowhere/so\x1bund", &draft, error), TL_FAILURE);
    assert_null(draft);
    assert_string_equal(tl_error_text(error),
                        "nowhere/so\\x1bund: cannot be written: No such file or directory");
    assert_int_equal(mkfifo("pipe", 0666), 0);
    assert_int_equal(tl_draft_open("pipe", &draft, error), TL_FAILURE);
    unlink("pipe");
    // The place is taken by a folder meanwhile: the draft goes, and nothing is left of it.
    assert_int_equal(tl_draft_open("sound", &draft, error), TL_OK);
    assert_int_equal(mkdir("sound", 0777), 0);
    assert_int_equal(tl_draft_keep(draft, error), TL_FAILURE);
    tl_draft_free(draft);
    assert_int_equal(rmdir("sound"), 0);
    assert_int_equal(count_names(), 0);
    tl_error_free(error);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_keeps, enter, leave),
        cmocka_unit_test_setup_teardown(test_drops, enter, leave),
        cmocka_unit_test_setup_teardown(test_mode_follows_umask, enter, leave),
        cmocka_unit_test_setup_teardown(test_refuses, enter, leave),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
