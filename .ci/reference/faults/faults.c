/* Preloaded below the program: makes one of its calls that change a disk fail, or the last it makes.
 *
 * FAULT_AT=N      the Nth such call (from 1); 0 only counts
 * FAULT_KIND=     kill   the process ends before the call
 *                 torn   it ends in the middle of a write
 *                 power  it ends, and of what was written and not synced since, half is lost
 *                 full   this call and all later ones find no room
 *                 eio, eacces, erofs   this call alone fails
 * FAULT_SEED=N    which writes a loss of power loses
 * FAULT_COUNT=F   where the number of calls is written when the process ends by itself
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

enum kind { KILL, TORN, POWER, FULL, EIO_, EACCES_, EROFS_ };

static long at, calls;
static enum kind kind;
static unsigned long dice;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

#define REAL(name) static __typeof__(&name) real; if (!real) real = dlsym(RTLD_NEXT, #name)

/* What a write that is not synced yet replaced. */
struct old { int fd; dev_t dev; ino_t ino; off_t from, size; size_t length; char *bytes; struct old *next; };
static struct old *unsynced;

static ssize_t plain_pwrite(int fd, const void *b, size_t n, off_t o) { REAL(pwrite64); return real(fd, b, n, o); }

__attribute__((constructor)) static void begin(void) {
    const char *v = getenv("FAULT_AT"), *k = getenv("FAULT_KIND"), *s = getenv("FAULT_SEED");
    at = v ? atol(v) : 0;
    dice = s ? strtoul(s, 0, 10) * 2654435761u + 1 : 1;
    const char *names[] = {"kill", "torn", "power", "full", "eio", "eacces", "erofs"};
    for (int i = 0; k && i < 7; i++) if (!strcmp(k, names[i])) kind = i;
}

__attribute__((destructor)) static void end(void) {
    const char *f = getenv("FAULT_COUNT");
    FILE *out = f ? fopen(f, "w") : 0;
    if (out) { fprintf(out, "%ld\n", calls); fclose(out); }
}

static void lose(void) {
    /* The latest first, so that what was there before all of them comes back. */
    for (struct old *o = unsynced; o; o = o->next) {
        dice = dice * 6364136223846793005ul + 1442695040888963407ul;
        if (dice >> 63) continue;
        if (o->length) plain_pwrite(o->fd, o->bytes, o->length, o->from);
        struct stat now;
        if (!fstat(o->fd, &now) && now.st_size > o->size && o->from + (off_t)o->length >= o->size)
            if (dice >> 62 & 1) { if (ftruncate(o->fd, o->size)) {} }
    }
}

/* True if this call fails now, with errno set; may not come back. */
static int fails(int fd, const void *bytes, size_t n, off_t from) {
    if (fd >= 0 && fd <= 2) return 0;
    pthread_mutex_lock(&lock);
    long this = ++calls;
    pthread_mutex_unlock(&lock);
    if (!at || this < at || (this > at && kind != FULL)) return 0;
    switch (kind) {
    case TORN:
        if (bytes && n > 1) {
            if (from >= 0) plain_pwrite(fd, bytes, n / 2, from);
            else { REAL(write); if (real(fd, bytes, n / 2)) {} }
        }
        kill(getpid(), SIGKILL);
        break;
    case POWER: at = 0; lose(); kill(getpid(), SIGKILL); break;
    case KILL: kill(getpid(), SIGKILL); break;
    case FULL: errno = ENOSPC; return 1;
    case EIO_: errno = EIO; return 1;
    case EACCES_: errno = EACCES; return 1;
    case EROFS_: errno = EROFS; return 1;
    }
    pause();
    return 0;
}

/* A descriptor of our own for a file. Never closed: that would let go of the program's locks on it. */
static int own(int fd, struct stat *s) {
    static struct { dev_t dev; ino_t ino; int fd; } known[256];
    static int count;
    for (int i = 0; i < count; i++)
        if (known[i].dev == s->st_dev && known[i].ino == s->st_ino) return known[i].fd;
    int dup = fcntl(fd, F_DUPFD_CLOEXEC, 500);
    if (count < 256) { known[count].dev = s->st_dev; known[count].ino = s->st_ino; known[count++].fd = dup; }
    return dup;
}

/* Keeps what a write is about to replace. */
static void note(int fd, size_t n, off_t from) {
    struct stat s;
    if (kind != POWER || !at || fstat(fd, &s) || !S_ISREG(s.st_mode)) return;
    struct old *o = calloc(1, sizeof *o);
    o->fd = own(fd, &s);
    o->dev = s.st_dev; o->ino = s.st_ino; o->from = from; o->size = s.st_size;
    o->bytes = malloc(n ? n : 1);
    ssize_t there = pread(fd, o->bytes, n, from);
    o->length = there > 0 ? there : 0;
    pthread_mutex_lock(&lock);
    o->next = unsynced; unsynced = o;
    pthread_mutex_unlock(&lock);
}

static void synced(int fd) {
    struct stat s;
    if (fstat(fd, &s)) return;
    pthread_mutex_lock(&lock);
    for (struct old **p = &unsynced; *p;) {
        struct old *o = *p;
        if (o->dev == s.st_dev && o->ino == s.st_ino) { *p = o->next; free(o->bytes); free(o); }
        else p = &o->next;
    }
    pthread_mutex_unlock(&lock);
}

ssize_t write(int fd, const void *b, size_t n) {
    REAL(write);
    if (fails(fd, b, n, -1)) return -1;
    if (fd > 2) note(fd, n, lseek(fd, 0, SEEK_CUR));
    return real(fd, b, n);
}
ssize_t pwrite64(int fd, const void *b, size_t n, off_t o) {
    if (fails(fd, b, n, o)) return -1;
    note(fd, n, o);
    return plain_pwrite(fd, b, n, o);
}
ssize_t pwrite(int fd, const void *b, size_t n, off_t o) { return pwrite64(fd, b, n, o); }
int ftruncate64(int fd, off_t n) { REAL(ftruncate64); return fails(fd, 0, 0, 0) ? -1 : real(fd, n); }
int fsync(int fd) {
    REAL(fsync);
    if (fails(fd, 0, 0, 0)) return -1;
    int r = real(fd);
    synced(fd);
    return r;
}
int fdatasync(int fd) {
    REAL(fdatasync);
    if (fails(fd, 0, 0, 0)) return -1;
    int r = real(fd);
    synced(fd);
    return r;
}
int rename(const char *a, const char *b) { REAL(rename); return fails(-1, 0, 0, 0) ? -1 : real(a, b); }
int renameat(int d, const char *a, int e, const char *b) { REAL(renameat); return fails(-1, 0, 0, 0) ? -1 : real(d, a, e, b); }
int link(const char *a, const char *b) { REAL(link); return fails(-1, 0, 0, 0) ? -1 : real(a, b); }
int linkat(int d, const char *a, int e, const char *b, int f) { REAL(linkat); return fails(-1, 0, 0, 0) ? -1 : real(d, a, e, b, f); }
int unlinkat(int d, const char *a, int f) { REAL(unlinkat); return fails(-1, 0, 0, 0) ? -1 : real(d, a, f); }
int unlink(const char *a) { REAL(unlink); return fails(-1, 0, 0, 0) ? -1 : real(a); }
int rmdir(const char *a) { REAL(rmdir); return fails(-1, 0, 0, 0) ? -1 : real(a); }
int mkdir(const char *a, mode_t m) { REAL(mkdir); return fails(-1, 0, 0, 0) ? -1 : real(a, m); }
int open64(const char *path, int flags, ...) {
    REAL(open64);
    va_list l; va_start(l, flags); mode_t m = va_arg(l, int); va_end(l);
    if (flags & O_CREAT && fails(-1, 0, 0, 0)) return -1;
    return real(path, flags, m);
}
int open(const char *path, int flags, ...) {
    va_list l; va_start(l, flags); mode_t m = va_arg(l, int); va_end(l);
    return open64(path, flags, m);
}
