/* Loaded before libc (LD_PRELOAD): files can't be locked, as on a network share whose lock service is gone. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>

static int locking(int command)
{
    return command == F_SETLK || command == F_SETLKW || command == F_OFD_SETLK || command == F_OFD_SETLKW;
}

#define FCNTL(name)                                                                  \
    int name(int fd, int command, ...)                                               \
    {                                                                                \
        va_list more;                                                                \
        va_start(more, command);                                                     \
        void *argument = va_arg(more, void *);                                       \
        va_end(more);                                                                \
        if (locking(command)) {                                                      \
            errno = ENOLCK;                                                          \
            return -1;                                                               \
        }                                                                            \
        return ((int (*)(int, int, ...))dlsym(RTLD_NEXT, #name))(fd, command, argument); \
    }

FCNTL(fcntl)
FCNTL(fcntl64)
