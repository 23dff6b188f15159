/* A wall clock that a test can step: CLOCK_STEP_FILE holds the step in seconds as text. Clocks that
 * only go forward (monotonic, boot time) are left alone, as a real step leaves them. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static long long step_s(void)
{
    const char *path = getenv("CLOCK_STEP_FILE");
    char text[32];
    int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    ssize_t length;

    if (fd < 0)
        return 0;
    length = read(fd, text, sizeof text - 1);
    close(fd);
    if (length <= 0)
        return 0;
    text[length] = 0;
    return atoll(text);
}

int clock_gettime(clockid_t clock, struct timespec *now)
{
    static int (*real)(clockid_t, struct timespec *);
    int result;

    if (!real)
        real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    result = real(clock, now);
    if (result == 0 && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
        now->tv_sec += step_s();
    return result;
}

int gettimeofday(struct timeval *now, void *zone)
{
    struct timespec found;

    (void)zone;
    if (clock_gettime(CLOCK_REALTIME, &found) != 0)
        return -1;
    now->tv_sec = found.tv_sec;
    now->tv_usec = found.tv_nsec / 1000;
    return 0;
}

time_t time(time_t *where)
{
    struct timespec found;

    clock_gettime(CLOCK_REALTIME, &found);
    if (where)
        *where = found.tv_sec;
    return found.tv_sec;
}
