/*
 * Makes calls of a program fail, wait or end it, while a file says so: a trouble of the disk on
 * demand. Loaded with LD_PRELOAD; DAWNSLIP_TROUBLE names the file. Each of its lines:
 *
 *   CALL WHAT PATHPART [TEXT]
 *
 * A failing pwrite writes half of its bytes all the same. CALL is open (for writing), pwrite, ftruncate or sync; WHAT is a number (errno), `stall` (wait
 * until the line is gone) or `kill` (pwrite only: the process is killed as soon as what it writes
 * now has been synced). A line counts for files whose path holds PATHPART, and for bytes that
 * hold TEXT. Without the file everything works as ever.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

static __thread int kill_after_sync;

static const char *real_path(int fd, char *path, size_t size) {
    char name[64];
    snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(name, path, size - 1);
    path[length < 0 ? 0 : length] = 0;
    return path;
}

/* The whole text of the rules; empty where there are none. */
static void rules(char *text, size_t size) {
    const char *name = getenv("DAWNSLIP_TROUBLE");
    text[0] = 0;
    if (!name)
        return;
    /* By system calls: our own open() must not call itself. With no descriptor left there is
     * no trouble either, which is why troubles are not told in a program that has run out. */
    int fd = (int)syscall(SYS_openat, AT_FDCWD, name, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return;
    ssize_t length = syscall(SYS_read, fd, text, size - 1);
    text[length < 0 ? 0 : length] = 0;
    syscall(SYS_close, fd);
}

/* 0, or the errno with which the call fails. */
static int trouble(const char *call, const char *path, const void *bytes, size_t count) {
    int saved = errno;
    for (;;) {
        char text[4096], *rest = NULL;
        int again = 0;
        rules(text, sizeof text);
        for (char *line = strtok_r(text, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest)) {
            char of[32] = "", what[32] = "", part[256] = "", holds[256] = "";
            if (sscanf(line, "%31s %31s %255s %255s", of, what, part, holds) < 3)
                continue;
            if (strcmp(of, call) || !strstr(path, part))
                continue;
            if (holds[0] && !(bytes && memmem(bytes, count, holds, strlen(holds))))
                continue;
            if (!strcmp(what, "stall"))
                again = 1;
            else if (!strcmp(what, "kill"))
                kill_after_sync = 1;
            else
                return atoi(what);
        }
        if (!again) {
            errno = saved;
            return 0;
        }
        nanosleep(&(struct timespec){0, 20 * 1000 * 1000}, NULL);
    }
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define OR_FAIL(call, path, bytes, count)                \
    do {                                                 \
        int code = trouble(call, path, bytes, count);    \
        if (code) {                                      \
            errno = code;                                \
            return -1;                                   \
        }                                                \
    } while (0)

int open64(const char *path, int flags, ...) {
    va_list more;
    va_start(more, flags);
    mode_t mode = va_arg(more, mode_t);
    va_end(more);
    if (flags & (O_WRONLY | O_RDWR))
        OR_FAIL("open", path, NULL, 0);
    return REAL(open64)(path, flags, mode);
}

ssize_t pwrite64(int fd, const void *bytes, size_t count, off64_t at) {
    char path[512];
    int code = trouble("pwrite", real_path(fd, path, sizeof path), bytes, count);
    if (!code)
        return REAL(pwrite64)(fd, bytes, count, at);
    /* What fails may have got half way. */
    REAL(pwrite64)(fd, bytes, count / 2, at);
    errno = code;
    return -1;
}

int ftruncate64(int fd, off64_t length) {
    char path[512];
    OR_FAIL("ftruncate", real_path(fd, path, sizeof path), NULL, 0);
    return REAL(ftruncate64)(fd, length);
}

int fdatasync(int fd) {
    char path[512];
    OR_FAIL("sync", real_path(fd, path, sizeof path), NULL, 0);
    int done = REAL(fdatasync)(fd);
    if (kill_after_sync)
        raise(SIGKILL);
    return done;
}

int fsync(int fd) {
    char path[512];
    OR_FAIL("sync", real_path(fd, path, sizeof path), NULL, 0);
    return REAL(fsync)(fd);
}
