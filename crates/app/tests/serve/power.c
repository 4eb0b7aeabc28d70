/* Preloaded into a program, it notes in one order what the program does to the files of a folder and what it says: from
 * that, the files can be built as they would be if the power failed at any moment. It can also let the disk take its time.
 *
 * POWER_JOURNAL: where it notes. POWER_FOLDER: which files. POWER_SYNC_US: how much longer each fsync takes.
 * A note is: kind, descriptor, offset, length, and so many bytes; numbers in the order of this machine. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/uio.h>
#include <unistd.h>

#define REAL(name) ((__typeof__(name) *)real(#name))

static pthread_mutex_t order = PTHREAD_MUTEX_INITIALIZER;
static int journal = -1;
static const char *folder;
static long sync_us;
static unsigned char watched[1 << 16];

static void *real(const char *name)
{
    void *found = dlsym(RTLD_NEXT, name);
    if (!found) abort();
    return found;
}

__attribute__((constructor)) static void begin(void)
{
    const char *path = getenv("POWER_JOURNAL"), *us = getenv("POWER_SYNC_US");
    folder = getenv("POWER_FOLDER");
    sync_us = us ? atol(us) : 0;
    if (path && folder) journal = REAL(open)(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static void note(char kind, int fd, uint64_t at, const void *bytes, uint32_t length)
{
    struct __attribute__((packed)) { char kind; int32_t fd; uint64_t at; uint32_t length; } head = { kind, fd, at, length };
    struct iovec parts[2] = { { &head, sizeof head }, { (void *)bytes, length } };
    if (journal >= 0 && writev(journal, parts, 2) != (ssize_t)(sizeof head + length)) abort();
}

static int is_watched(int fd) { return journal >= 0 && fd >= 0 && fd < (int)sizeof watched && watched[fd]; }

/* The whole path, if it lies in the folder; what SQLite shares in memory is no file that lasts. */
static int whole_path(const char *path, char *whole, size_t size)
{
    whole[0] = 0;
    if (path[0] != '/' && (!getcwd(whole, size - 1) || !strcat(whole, "/"))) return 0;
    if (strlen(whole) + strlen(path) >= size) return 0;
    strcat(whole, path);
    size_t length = strlen(whole);
    return journal >= 0 && strncmp(whole, folder, strlen(folder)) == 0
        && !(length > 4 && strcmp(whole + length - 4, "-shm") == 0);
}

static int opened(int fd, const char *path, int flags)
{
    char whole[8192];
    if (fd < 0 || fd >= (int)sizeof watched) return fd;
    watched[fd] = whole_path(path, whole, sizeof whole);
    if (watched[fd]) note('O', fd, (flags & O_TRUNC) != 0, whole, strlen(whole));
    return fd;
}

#define OPENS(name)                                                 \
    int name(const char *path, int flags, ...)                      \
    {                                                               \
        va_list rest;                                               \
        va_start(rest, flags);                                      \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(rest, mode_t) : 0; \
        va_end(rest);                                               \
        pthread_mutex_lock(&order);                                 \
        int fd = opened(REAL(name)(path, flags, mode), path, flags); \
        pthread_mutex_unlock(&order);                               \
        return fd;                                                  \
    }
OPENS(open)
OPENS(open64)

#define OPENS_AT(name)                                              \
    int name(int at, const char *path, int flags, ...)              \
    {                                                               \
        va_list rest;                                               \
        va_start(rest, flags);                                      \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(rest, mode_t) : 0; \
        va_end(rest);                                               \
        pthread_mutex_lock(&order);                                 \
        int fd = opened(REAL(name)(at, path, flags, mode), path, flags); \
        pthread_mutex_unlock(&order);                               \
        return fd;                                                  \
    }
OPENS_AT(openat)
OPENS_AT(openat64)

ssize_t write(int fd, const void *bytes, size_t length)
{
    if (!is_watched(fd) && (fd != 1 || journal < 0)) return REAL(write)(fd, bytes, length);
    pthread_mutex_lock(&order);
    off_t at = fd == 1 ? 0 : lseek(fd, 0, SEEK_CUR);
    /* Nobody reads what the program says but in the notes. */
    ssize_t done = fd == 1 ? (ssize_t)length : REAL(write)(fd, bytes, length);
    if (done > 0) note(fd == 1 ? 'A' : 'W', fd, at, bytes, done);
    pthread_mutex_unlock(&order);
    return done;
}

#define WRITES_AT(name, offset)                                     \
    ssize_t name(int fd, const void *bytes, size_t length, offset at) \
    {                                                               \
        if (!is_watched(fd)) return REAL(name)(fd, bytes, length, at); \
        pthread_mutex_lock(&order);                                 \
        ssize_t done = REAL(name)(fd, bytes, length, at);           \
        if (done > 0) note('W', fd, at, bytes, done);               \
        pthread_mutex_unlock(&order);                               \
        return done;                                                \
    }
WRITES_AT(pwrite, off_t)
WRITES_AT(pwrite64, off64_t)

#define TRUNCATES(name, offset)                                     \
    int name(int fd, offset length)                                 \
    {                                                               \
        if (!is_watched(fd)) return REAL(name)(fd, length);         \
        pthread_mutex_lock(&order);                                 \
        int done = REAL(name)(fd, length);                          \
        if (done == 0) note('T', fd, length, "", 0);                \
        pthread_mutex_unlock(&order);                               \
        return done;                                                \
    }
TRUNCATES(ftruncate, off_t)
TRUNCATES(ftruncate64, off64_t)

#define SYNCS(name)                                                 \
    int name(int fd)                                                \
    {                                                               \
        if (sync_us > 0) usleep(sync_us);                           \
        if (!is_watched(fd)) return REAL(name)(fd);                 \
        pthread_mutex_lock(&order);                                 \
        int done = REAL(name)(fd);                                  \
        if (done == 0) note('S', fd, 0, "", 0);                     \
        pthread_mutex_unlock(&order);                               \
        return done;                                                \
    }
SYNCS(fsync)
SYNCS(fdatasync)

int rename(const char *from, const char *to)
{
    char both[16384];
    pthread_mutex_lock(&order);
    int done = REAL(rename)(from, to);
    if (done == 0 && whole_path(from, both, 8192)) {
        size_t length = strlen(both) + 1;
        if (!whole_path(to, both + length, 8192)) abort();
        note('R', -1, 0, both, length + strlen(both + length));
    }
    pthread_mutex_unlock(&order);
    return done;
}

int unlink(const char *path)
{
    char whole[8192];
    pthread_mutex_lock(&order);
    int done = REAL(unlink)(path);
    if (done == 0 && whole_path(path, whole, sizeof whole)) note('U', -1, 0, whole, strlen(whole));
    pthread_mutex_unlock(&order);
    return done;
}

ssize_t sendto(int fd, const void *bytes, size_t length, int flags, const struct sockaddr *to, socklen_t size)
{
    pthread_mutex_lock(&order);
    note('D', fd, 0, bytes, length);
    pthread_mutex_unlock(&order);
    return REAL(sendto)(fd, bytes, length, flags, to, size);
}
