// SPDX-License-Identifier: GPL-3.0-or-later
// Files read with a limit, and written whole or not at all.

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include "base/file.h"
#include "base/text.h"

#include <cmocka.h>
#include <dirent.h>
#include <fcntl.h>
#include <ftw.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

static tl_error* error;
static char folder[] = "/tmp/toneload-file-XXXXXX";
static char start_folder[4096];

static int start(void** state) {
    (void)state;
    error = tl_error_new();
    return !(getcwd(start_folder, sizeof start_folder) && mkdtemp(folder) && chdir(folder) == 0);
}

static int remove_one(const char* path, const struct stat* about, int type, struct FTW* walk) {
    (void)about;
    (void)type;
    (void)walk;
    return remove(path);
}

static int stop(void** state) {
    (void)state;
    tl_error_free(error);
    return chdir(start_folder) || nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

static size_t count_files(void) {
    size_t count = 0;
    DIR* open_folder = opendir(".");
    for (struct dirent* entry; (entry = readdir(open_folder));)
        count += entry->d_name[0] != '.';
    closedir(open_folder);
    return count;
}

static void holds(const char* path, const char* words) {
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read(path, 1000, &text, &size, error), TL_OK);
    assert_int_equal(size, strlen(words));
    assert_string_equal(text, words);
    free(text);
}

static void put(const char* path, const char* words) {
    if (tl_file_write(path, words, strlen(words), error) != TL_OK)
        fail_msg("%s", tl_error_text(error));
}

static void written_is_read(void** state) {
    (void)state;
    put("a", "one");
    holds("a", "one");
    put("a", ""); // replaces
    holds("a", "");
    assert_int_equal(unlink("a"), 0);
    assert_false(tl_file_exists("a"));
    assert_int_equal(count_files(), 0);
}

static void names_are_taken_literally(void** state) {
    (void)state;
    static const char* const names[] = {"|touch x", "<a", "-o", "it's \"q\" `id` $(id) %s\n",
                                        "x;y"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        put(names[i], "words");
        holds(names[i], "words");
        assert_int_equal(count_files(), 1);
        assert_int_equal(unlink(names[i]), 0);
    }
}

static void a_read_has_a_limit(void** state) {
    (void)state;
    char* text = NULL;
    size_t size = 0;
    put("a", "0123456789");
    assert_int_equal(tl_file_read("a", 10, &text, &size, error), TL_OK);
    free(text);
    text = NULL;
    assert_int_equal(tl_file_read("a", 9, &text, &size, error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "a: is larger than"));
    assert_int_equal(tl_file_read("/dev/zero", 1000000, &text, &size, error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "is larger than 1000 kB"));
    assert_null(text);
    assert_int_equal(unlink("a"), 0);
}

static void what_cannot_be_read_says_why(void** state) {
    (void)state;
    char* text = NULL;
    size_t size = 0;
    assert_int_equal(tl_file_read("nothing", 10, &text, &size, error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "nothing: cannot be read: No such file"));
    assert_int_equal(tl_file_read(".", 10, &text, &size, error), TL_BAD_INPUT);
    assert_non_null(strstr(tl_error_text(error), "is a folder"));
}

static void what_cannot_be_written_says_why(void** state) {
    (void)state;
    assert_int_equal(tl_file_write(".", "x", 1, error), TL_FAILURE);
    assert_non_null(strstr(tl_error_text(error), "is a folder"));
    assert_int_equal(tl_file_write("no/such/folder", "x", 1, error), TL_FAILURE);
    assert_non_null(strstr(tl_error_text(error), "no/such/folder: cannot be written: No such"));
    assert_int_equal(tl_file_write("", "x", 1, error), TL_FAILURE);
    assert_int_equal(count_files(), 0);
}

// A file size limit stands for a full disk: the write fails half-way.
static void half_a_file_is_never_left(void** state) {
    (void)state;
    enum { SIZE = 1 << 20 };
    char* much = tl_new(SIZE, 1);
    put("a", "as before");
    struct rlimit before;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    const struct rlimit little = {SIZE / 4, before.rlim_max};
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &little), 0);
    const tl_status over = tl_file_write("a", much, SIZE, error);
    const tl_status fresh = tl_file_write("b", much, SIZE, error);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, SIG_DFL);
    assert_int_equal(over, TL_FAILURE);
    assert_int_equal(fresh, TL_FAILURE);
    assert_non_null(strstr(tl_error_text(error), "b: cannot be written: File too large"));
    holds("a", "as before");
    assert_int_equal(count_files(), 1); // no temporary file either
    free(much);
    assert_int_equal(unlink("a"), 0);
}

static void a_link_stays_a_link(void** state) {
    (void)state;
    put("a", "one");
    assert_int_equal(symlink("a", "link"), 0);
    put("link", "two");
    struct stat about;
    assert_int_equal(lstat("link", &about), 0);
    assert_true(S_ISLNK(about.st_mode));
    holds("a", "two");
    assert_int_equal(unlink("link") | unlink("a"), 0);
}

static void a_mode_is_kept(void** state) {
    (void)state;
    struct stat about;
    const mode_t before = umask(027);
    put("a", "one");
    umask(before);
    assert_int_equal(stat("a", &about), 0);
    assert_int_equal(about.st_mode & 07777, 0640); // a new file follows the user's mask
    assert_int_equal(chmod("a", 0604), 0);
    put("a", "two");
    assert_int_equal(stat("a", &about), 0);
    assert_int_equal(about.st_mode & 07777, 0604);
    assert_int_equal(unlink("a"), 0);
}

static void devices_are_written_not_replaced(void** state) {
    (void)state;
    put("/dev/null", "gone");
    struct stat about;
    assert_int_equal(stat("/dev/null", &about), 0);
    assert_true(S_ISCHR(about.st_mode));
    assert_int_equal(tl_file_write("/dev/full", "x", 1, error), TL_FAILURE);
    assert_non_null(strstr(tl_error_text(error), "No space left"));
    assert_int_equal(mkfifo("pipe", 0600), 0);
    const int reader = open("pipe", O_RDONLY | O_NONBLOCK);
    put("pipe", "through");
    char got[16] = {0};
    assert_int_equal(read(reader, got, sizeof got - 1), 7);
    assert_string_equal(got, "through");
    close(reader);
    assert_int_equal(lstat("pipe", &about), 0);
    assert_true(S_ISFIFO(about.st_mode));
    assert_int_equal(unlink("pipe"), 0);
}

static void the_home_is_this_programs_folder(void** state) {
    (void)state;
    char* home = tl_file_home();
    char* worker = tl_printf("%s/toneload-worker", home);
    char* real = realpath(TL_BINARY_DIR, NULL);
    assert_string_equal(home, real);
    assert_true(tl_file_exists(worker));
    free(real);
    free(worker);
    free(home);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(written_is_read),
        cmocka_unit_test(names_are_taken_literally),
        cmocka_unit_test(a_read_has_a_limit),
        cmocka_unit_test(what_cannot_be_read_says_why),
        cmocka_unit_test(what_cannot_be_written_says_why),
        cmocka_unit_test(half_a_file_is_never_left),
        cmocka_unit_test(a_link_stays_a_link),
        cmocka_unit_test(a_mode_is_kept),
        cmocka_unit_test(devices_are_written_not_replaced),
        cmocka_unit_test(the_home_is_this_programs_folder),
    };
    return cmocka_run_group_tests(tests, start, stop);
}
