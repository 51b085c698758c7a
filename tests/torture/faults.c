/* Loaded before libc (LD_PRELOAD): the n-th change of a file under one folder is a kill or an error. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>
#include <sys/types.h>

static long seen, at;
static int kind; /* 0: kill, else the errno to fail with */
static char under[4096];

void fault_arm(const char *folder, long number, int what)
{
    snprintf(under, sizeof under, "%s", folder);
    seen = 0;
    at = number;
    kind = what;
}

long fault_seen(void) { return seen; }

static int strikes(const char *path)
{
    if (!under[0] || strncmp(path, under, strlen(under)) != 0 || ++seen != at)
        return 0;
    if (!kind)
        kill(getpid(), SIGKILL);
    errno = kind;
    return 1;
}

static int strikes_fd(int fd)
{
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    if (n < 0)
        return 0;
    path[n] = 0;
    return strikes(path);
}

#define REAL(type, name, ...) ((type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, name))
#define ON_FD(type, name, parameters, arguments, ...) \
    type name parameters { return strikes_fd(fd) ? -1 : REAL(type, #name, __VA_ARGS__) arguments; }

ON_FD(ssize_t, write, (int fd, const void *b, size_t n), (fd, b, n), int, const void *, size_t)
ON_FD(ssize_t, pwrite, (int fd, const void *b, size_t n, off_t o), (fd, b, n, o), int, const void *, size_t, off_t)
ON_FD(ssize_t, pwrite64, (int fd, const void *b, size_t n, off64_t o), (fd, b, n, o), int, const void *, size_t, off64_t)
ON_FD(int, fsync, (int fd), (fd), int)
ON_FD(int, fdatasync, (int fd), (fd), int)
ON_FD(int, ftruncate, (int fd, off_t n), (fd, n), int, off_t)
ON_FD(int, ftruncate64, (int fd, off64_t n), (fd, n), int, off64_t)

int rename(const char *from, const char *to)
{
    return strikes(to) ? -1 : REAL(int, "rename", const char *, const char *)(from, to);
}

int link(const char *from, const char *to)
{
    return strikes(to) ? -1 : REAL(int, "link", const char *, const char *)(from, to);
}

int unlink(const char *path) { return strikes(path) ? -1 : REAL(int, "unlink", const char *)(path); }
