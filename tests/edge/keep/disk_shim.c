/* Watches what a process does to the files of one folder, for the tests of the durable file.
 *
 * DISK_LOG: every write, cut, sync and removal is appended to this file before it is done.
 * DISK_BALLAST: while this file exists, a write that would grow a file of the folder finds no space.
 * DISK_FAIL_AT, DISK_FAIL_WITH: the n-th call counted fails once with this errno.
 * DISK_KILL_AT: the process is killed at the n-th call counted, before it is done.
 * DISK_FOLDER: the folder; everything else passes untouched.
 *
 * Entry: kind (1 byte: w, t, s, u), length of the path (4), offset (8), length of the content (8),
 * path, content; numbers little-endian as on the machine.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static long counted;

static const char *path_of(int fd, char *path)
{
    const char *folder = getenv("DISK_FOLDER");
    char link[64];
    ssize_t length;

    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    length = readlink(link, path, PATH_MAX - 1);
    if (length < 0 || !folder)
        return NULL;
    path[length] = 0;
    return strncmp(path, folder, strlen(folder)) == 0 ? path : NULL;
}

static void note(char kind, const char *path, uint64_t offset, const void *content, uint64_t size)
{
    static ssize_t (*real_write)(int, const void *, size_t);
    const char *log = getenv("DISK_LOG");
    uint32_t path_length = strlen(path);
    static int fd = -1;

    if (!log)
        return;
    if (!real_write)
        real_write = dlsym(RTLD_NEXT, "write");
    if (fd < 0)
        fd = open(log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    if (real_write(fd, &kind, 1) != 1 || real_write(fd, &path_length, 4) != 4 ||
        real_write(fd, &offset, 8) != 8 || real_write(fd, &size, 8) != 8 ||
        real_write(fd, path, path_length) != (ssize_t)path_length ||
        (kind == 'w' && real_write(fd, content, size) != (ssize_t)size))
        abort();
}

/* 0 to go on, else -1 with errno set. */
static int fails(void)
{
    const char *at = getenv("DISK_FAIL_AT"), *kill_at = getenv("DISK_KILL_AT");

    counted++;
    if (kill_at && counted == atol(kill_at))
        kill(getpid(), SIGKILL);
    if (!at || counted != atol(at))
        return 0;
    errno = atoi(getenv("DISK_FAIL_WITH"));
    return -1;
}

static int finds_no_space(int fd, uint64_t end)
{
    const char *ballast = getenv("DISK_BALLAST");
    struct stat found;

    if (!ballast || access(ballast, F_OK) != 0 || fstat(fd, &found) != 0)
        return 0;
    if (end <= (uint64_t)found.st_size)
        return 0;
    errno = ENOSPC;
    return 1;
}

ssize_t pwrite64(int fd, const void *content, size_t size, off64_t offset)
{
    static ssize_t (*real)(int, const void *, size_t, off64_t);
    char path[PATH_MAX];

    if (!real)
        real = dlsym(RTLD_NEXT, "pwrite64");
    if (path_of(fd, path)) {
        if (fails() || finds_no_space(fd, offset + size))
            return -1;
        note('w', path, offset, content, size);
    }
    return real(fd, content, size, offset);
}

ssize_t pwrite(int fd, const void *content, size_t size, off_t offset)
{
    return pwrite64(fd, content, size, offset);
}

int ftruncate64(int fd, off64_t length)
{
    static int (*real)(int, off64_t);
    char path[PATH_MAX];

    if (!real)
        real = dlsym(RTLD_NEXT, "ftruncate64");
    if (path_of(fd, path))
        note('t', path, length, NULL, 0);
    return real(fd, length);
}

int ftruncate(int fd, off_t length)
{
    return ftruncate64(fd, length);
}

int unlink(const char *name)
{
    static int (*real)(const char *);
    const char *folder = getenv("DISK_FOLDER");

    if (!real)
        real = dlsym(RTLD_NEXT, "unlink");
    if (folder && strncmp(name, folder, strlen(folder)) == 0)
        note('u', name, 0, NULL, 0);
    return real(name);
}

static int synced(int fd, const char *name)
{
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, name);
    char path[PATH_MAX];

    if (path_of(fd, path)) {
        if (fails())
            return -1;
        note('s', path, 0, NULL, 0);
    }
    return real(fd);
}

int fsync(int fd)
{
    return synced(fd, "fsync");
}

int fdatasync(int fd)
{
    return synced(fd, "fdatasync");
}
