/*
 * A preload library that puts a dynamically linked program on a slower board.
 *
 *   BOARD_SLOW=4       every clock of the program runs 4 times as fast, and every wait is a quarter as
 *                      long: a processor, system calls included, that is 4 times slower. There are no
 *                      gaps as a quota on processor time makes them. All times below are the program's.
 *   BOARD_SHARED=FILE  memory shared with the test, as `struct shared` below: what was measured, and how
 *                      slow the disk is now. With it
 *                      - the main thread outweighs all else on its processor, and the other threads all
 *                        other programs, as on a board of their own;
 *                      - a referee, a thread before all of them, notes when the machine itself was away.
 *   BOARD_DISK=PATH    the slow disk: everything below this path
 *
 * board.ts builds it: gcc -shared -fPIC.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <sched.h>
#include <semaphore.h>
#include <signal.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

#define REAL(name)                                                                                     \
  ({                                                                                                   \
    static __typeof__(&name) f;                                                                        \
    if (!f) f = (__typeof__(&name))dlsym(RTLD_NEXT, #name);                                            \
    f;                                                                                                 \
  })
typedef int64_t ns_t;
static double factor = 1;
/*
 * How nice the main thread and the others are. The main one counts as much as 28 others. It does not go
 * before them whatever happens (SCHED_FIFO): V8 may have it wait in a loop for a helper thread, which then
 * never comes to its end.
 */
enum { FIRST = -20, OTHERS = -5 };
/* The shortest turn that the kernel lets a thread ask for (ns): it then comes before those that ask for more. */
enum { SHORTEST = 100000 };
static char disk[512];
static volatile int ready;
/* Time of day less monotonic time when the program started, rounded to a second. */
static ns_t dayOffset;

/* --- what the test reads and writes; board.ts knows these places, all numbers are 8 bytes wide ------- */
enum { SLOTS = 32, STALLS = 4096, TURNS = 4096, CALLS = 8192 };
struct span { int64_t atNs, ns; };
/* One thread with an event loop. A turn is what it does between two sleeps. */
struct slot { int64_t tid, turns, busyNs, longestNs, pad[4]; };
struct call { int64_t atNs, ns, onMain, onDisk; char what[16], path[80]; };
struct shared {
  /* 0 */ int64_t ready, pid, bornNs, dayOffsetNs, goesFirst, stalls, turns, calls, pad[8];
  /* 16: written by the test */ int64_t createUs, writeUs, syncUs, renameUs, epoch, pad2[11];
  /* 32 */ struct slot slot[SLOTS];
  struct span stall[STALLS];
  struct span turn[TURNS]; /* of the main thread, those that matter */
  struct call call[CALLS];
};
_Static_assert(sizeof(struct shared) == 1181952, "board.ts knows another size");
static struct shared *shared;
static __thread struct slot *mine;
static __thread ns_t awakeNs;
static __thread int mainKnown;

static ns_t ns(const struct timespec *t) { return t->tv_sec * 1000000000LL + t->tv_nsec; }
static struct timespec ts(ns_t n) {
  struct timespec t = { n / 1000000000LL, n % 1000000000LL };
  return t;
}
static ns_t machine(clockid_t c) {
  struct timespec t;
  REAL(clock_gettime)(c, &t);
  return ns(&t);
}
static ns_t now(void) { return (ns_t)(machine(CLOCK_MONOTONIC) * factor); }
static int isMain(void) {
  if (!mainKnown) mainKnown = gettid() == getpid() ? 1 : 2;
  return mainKnown == 1;
}
static int goFirst(int priority) {
  struct sched_param p = { .sched_priority = priority };
  return sched_setscheduler(0, SCHED_FIFO, &p);
}

/* Wakes every half millisecond before all else: whenever that is late, nothing else could run either. */
static void *referee(void *none) {
  const ns_t every = 500000, worthIt = 250000;
  goFirst(90);
  for (ns_t due = machine(CLOCK_MONOTONIC) + every;; due += every) {
    struct timespec t = ts(due);
    REAL(clock_nanosleep)(CLOCK_MONOTONIC, TIMER_ABSTIME, &t, 0);
    ns_t late = machine(CLOCK_MONOTONIC) - due;
    if (late < worthIt) continue;
    struct span *s = &shared->stall[shared->stalls % STALLS];
    s->atNs = (ns_t)(due * factor);
    s->ns = (ns_t)(late * factor);
    __atomic_add_fetch(&shared->stalls, 1, __ATOMIC_SEQ_CST);
    due += late / every * every;
  }
  return none;
}

/* sched_setattr(2): size, policy, flags, nice, priority, runtime, deadline, period. */
static int ordinary(int nice, ns_t slice) {
  struct { uint32_t size, policy; uint64_t flags; int32_t nice; uint32_t priority; uint64_t runtime[3]; }
    attributes = { sizeof attributes, SCHED_OTHER, 0, nice, 0, { (uint64_t)slice, 0, 0 } };
  return REAL(syscall)(SYS_sched_setattr, 0, &attributes, 0);
}

__attribute__((constructor)) static void begin(void) {
  const char *s = getenv("BOARD_SLOW");
  if (s) factor = atof(s);
  dayOffset = (machine(CLOCK_REALTIME) - machine(CLOCK_MONOTONIC)) / 1000000000LL * 1000000000LL;
  if ((s = getenv("BOARD_DISK"))) strncpy(disk, s, sizeof disk - 1);
  prctl(PR_SET_TIMERSLACK, (unsigned long)(50000 / factor));
  if ((s = getenv("BOARD_SHARED"))) {
    int fd = open(s, O_RDWR | O_CLOEXEC);
    void *p = fd < 0 ? MAP_FAILED : mmap(0, sizeof *shared, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    if (p == MAP_FAILED) {
      perror("BOARD_SHARED");
      _exit(99);
    }
    close(fd);
    shared = p;
    prctl(PR_SET_PDEATHSIG, SIGKILL); /* nobody is left to measure it */
    shared->pid = getpid();
    shared->bornNs = now();
    shared->dayOffsetNs = dayOffset;
    pthread_t thread;
    int denied = REAL(pthread_create)(&thread, 0, referee, 0) || ordinary(FIRST, SHORTEST);
    shared->goesFirst = !denied;
    shared->ready = 1;
  }
  ready = 1;
}

/* --- threads: all but the main one are ordinary ones, before other programs -------------------------- */
struct start { void *(*run)(void *); void *given; };
/*
 * The kernel takes the processor from a thread after so many ms where another one waits (base_slice in
 * kernel/sched/fair.c, with one processor). That is no longer on a slow board, and so a quarter of it here:
 * otherwise the main thread waits four times too long for a lock of one whose turn it is not.
 */
static const ns_t slice = 700000;
static void *settle(void *given) {
  struct start s = *(struct start *)given;
  free(given);
  if (ordinary(OTHERS, slice / factor)) {
    perror("sched_setattr");
    _exit(99);
  }
  return s.run(s.given);
}
/* A thread that steps back does so among its own kind. */
int setpriority(__priority_which_t which, id_t who, int nice) {
  return REAL(setpriority)(which, who, shared ? OTHERS + nice : nice);
}
int pthread_create(pthread_t *restrict t, const pthread_attr_t *restrict a, void *(*run)(void *), void *restrict given) {
  if (!shared) return REAL(pthread_create)(t, a, run, given);
  struct start *s = malloc(sizeof *s);
  s->run = run;
  s->given = given;
  return REAL(pthread_create)(t, a, settle, s);
}

/* --- time ------------------------------------------------------------------------------------------- */
int clock_gettime(clockid_t c, struct timespec *t) {
  int r = REAL(clock_gettime)(c, t);
  if (r || !ready || factor == 1) return r;
  switch (c) {
    case CLOCK_MONOTONIC:
    case CLOCK_MONOTONIC_RAW:
    case CLOCK_MONOTONIC_COARSE:
    case CLOCK_BOOTTIME:
      *t = ts((ns_t)((c == CLOCK_MONOTONIC ? ns(t) : machine(CLOCK_MONOTONIC)) * factor));
      break;
    case CLOCK_REALTIME:
    case CLOCK_REALTIME_COARSE:
      *t = ts(dayOffset + now());
      break;
    default:
      *t = ts((ns_t)(ns(t) * factor)); /* processor time */
  }
  return 0;
}
int gettimeofday(struct timeval *restrict v, void *restrict zone) {
  struct timespec t;
  (void)zone;
  clock_gettime(CLOCK_REALTIME, &t);
  v->tv_sec = t.tv_sec;
  v->tv_usec = t.tv_nsec / 1000;
  return 0;
}
time_t time(time_t *out) {
  struct timespec t;
  clock_gettime(CLOCK_REALTIME, &t);
  if (out) *out = t.tv_sec;
  return t.tv_sec;
}
int getrusage(__rusage_who_t who, struct rusage *u) {
  int r = REAL(getrusage)(who, u);
  if (r || factor == 1) return r;
  for (int i = 0; i < 2; i++) {
    struct timeval *v = i ? &u->ru_utime : &u->ru_stime;
    double us = (v->tv_sec * 1e6 + v->tv_usec) * factor;
    v->tv_sec = us / 1e6;
    v->tv_usec = us - v->tv_sec * 1e6;
  }
  return r;
}
/* Until when by the machine's clock; which of the two clocks was meant is plain from the size. */
static struct timespec until(const struct timespec *given, clockid_t *clock) {
  ns_t u = ns(given);
  int day = u > dayOffset / 2;
  *clock = day ? CLOCK_REALTIME : CLOCK_MONOTONIC;
  ns_t mono = (ns_t)((day ? u - dayOffset : u) / factor);
  return ts(day ? mono + (machine(CLOCK_REALTIME) - machine(CLOCK_MONOTONIC)) : mono);
}
int pthread_cond_timedwait(pthread_cond_t *restrict c, pthread_mutex_t *restrict m, const struct timespec *restrict t) {
  if (factor == 1) return REAL(pthread_cond_timedwait)(c, m, t);
  clockid_t k;
  struct timespec r = until(t, &k);
  return REAL(pthread_cond_timedwait)(c, m, &r);
}
int pthread_cond_clockwait(pthread_cond_t *restrict c, pthread_mutex_t *restrict m, clockid_t clock, const struct timespec *restrict t) {
  if (factor == 1) return REAL(pthread_cond_clockwait)(c, m, clock, t);
  clockid_t k;
  struct timespec r = until(t, &k);
  return REAL(pthread_cond_clockwait)(c, m, clock, &r);
}
int sem_timedwait(sem_t *restrict s, const struct timespec *restrict t) {
  if (factor == 1) return REAL(sem_timedwait)(s, t);
  clockid_t k;
  struct timespec r = until(t, &k);
  return REAL(sem_timedwait)(s, &r);
}
int nanosleep(const struct timespec *t, struct timespec *left) {
  struct timespec r = ts((ns_t)(ns(t) / factor));
  return REAL(nanosleep)(&r, left);
}
int clock_nanosleep(clockid_t c, int flags, const struct timespec *t, struct timespec *left) {
  clockid_t k;
  struct timespec r = flags & TIMER_ABSTIME ? until(t, &k) : ts((ns_t)(ns(t) / factor));
  return REAL(clock_nanosleep)(c, flags, &r, left);
}
int usleep(useconds_t us) {
  struct timespec t = ts(us * 1000LL);
  return nanosleep(&t, 0);
}
int poll(struct pollfd *f, nfds_t n, int ms) {
  if (ms <= 0 || factor == 1) return REAL(poll)(f, n, ms);
  struct timespec r = ts((ns_t)(ms * 1e6 / factor));
  return ppoll(f, n, &r, 0);
}

/* --- turns of event loops --------------------------------------------------------------------------- */
static struct slot *slotOf(void) {
  if (mine || !shared) return mine;
  int64_t tid = gettid();
  for (int i = isMain() ? 0 : 1; i < SLOTS; i++) {
    int64_t none = 0;
    if (__atomic_compare_exchange_n(&shared->slot[i].tid, &none, tid, 0, __ATOMIC_SEQ_CST, __ATOMIC_SEQ_CST)) {
      mine = &shared->slot[i];
      break;
    }
  }
  return mine;
}
static void fallAsleep(void) {
  struct slot *s = slotOf();
  if (!s || !awakeNs) return;
  ns_t took = now() - awakeNs;
  s->turns++;
  s->busyNs += took;
  if (took > s->longestNs) s->longestNs = took;
  if (isMain() && took > 1000000) {
    shared->turn[shared->turns % TURNS] = (struct span){ awakeNs, took };
    __atomic_add_fetch(&shared->turns, 1, __ATOMIC_SEQ_CST);
  }
}
static int sleepFor(int e, struct epoll_event *v, int n, int ms, const sigset_t *set) {
  int r;
  fallAsleep();
  if (ms <= 0 || factor == 1) r = REAL(epoll_pwait)(e, v, n, ms, set);
  else {
    struct timespec t = ts((ns_t)(ms * 1e6 / factor));
    r = REAL(syscall)(SYS_epoll_pwait2, e, v, n, &t, set, 8);
  }
  int saved = errno;
  if (shared) awakeNs = now();
  errno = saved;
  return r;
}
int epoll_wait(int e, struct epoll_event *v, int n, int ms) { return sleepFor(e, v, n, ms, 0); }
int epoll_pwait(int e, struct epoll_event *v, int n, int ms, const sigset_t *set) { return sleepFor(e, v, n, ms, set); }

/* --- the disk: slow where it is changed; the main thread is noted whatever it asks for ------------------ */
static int below(const char *path) { return disk[0] && path && !strncmp(path, disk, strlen(disk)); }
static const char *pathOf(int fd, char *into, int size) {
  char link[64];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  int n = REAL(readlink)(link, into, size - 1);
  into[n > 0 ? n : 0] = 0;
  return into;
}
/* Until the time is over, or the test has changed the disk. */
static void hold(volatile int64_t *us) {
  int64_t epoch = shared->epoch;
  ns_t end = now() + *us * 1000;
  while (__atomic_load_n(&shared->epoch, __ATOMIC_SEQ_CST) == epoch) {
    ns_t left = (ns_t)((end - now()) / factor);
    if (left <= 0) return;
    struct timespec t = ts(left < 1000000 ? left : 1000000);
    REAL(nanosleep)(&t, 0);
  }
}
static void note(const char *what, const char *path, ns_t from) {
  struct call *c = &shared->call[__atomic_fetch_add(&shared->calls, 1, __ATOMIC_SEQ_CST) % CALLS];
  c->ns = now() - from;
  c->onMain = isMain();
  c->onDisk = below(path);
  strncpy(c->what, what, sizeof c->what - 1);
  /* The end of a long path says more than its beginning. */
  size_t n = path ? strlen(path) : 0;
  strncpy(c->path, path ? path + (n < sizeof c->path ? 0 : n - sizeof c->path + 1) : "?", sizeof c->path - 1);
  c->atNs = from;
}
/* CALL changes something below PATH, and takes as long as SLOW says; US 0 where it only reads. */
#define CALLS_DISK(WHAT, PATH, SLOW, CHANGES, CALL)                                                    \
  if (!ready || !shared) return CALL;                                                                  \
  const char *at_ = PATH;                                                                              \
  int changes_ = (CHANGES) && below(at_);                                                              \
  if (!changes_ && !isMain()) return CALL;                                                             \
  ns_t from_ = now();                                                                                  \
  if (changes_ && shared->SLOW) hold(&shared->SLOW);                                                   \
  __auto_type r_ = CALL;                                                                               \
  int saved_ = errno;                                                                                  \
  note(WHAT, at_, from_);                                                                              \
  errno = saved_;                                                                                      \
  return r_;
#define ON_PATH(TYPE, NAME, TAKES, GIVES, PATH, SLOW, CHANGES)                                         \
  TYPE NAME TAKES { CALLS_DISK(#NAME, PATH, SLOW, CHANGES, REAL(NAME) GIVES) }
/* What is not a file cannot keep anybody waiting for a disk; but a terminal or pipe that is fd 1 or 2 can. */
static int isFile(int fd) {
  struct stat st;
  if (REAL(fstat)(fd, &st)) return 0;
  return S_ISREG(st.st_mode) || S_ISDIR(st.st_mode) || fd == 1 || fd == 2;
}
#define ON_FD(TYPE, NAME, TAKES, GIVES, SLOW, CHANGES)                                                 \
  TYPE NAME TAKES {                                                                                    \
    if (!ready || !shared || !((CHANGES) || isMain()) || !isFile(fd)) return REAL(NAME) GIVES;         \
    char path[512];                                                                                    \
    pathOf(fd, path, sizeof path);                                                                     \
    CALLS_DISK(#NAME, path, SLOW, CHANGES, REAL(NAME) GIVES)                                           \
  }
#define OPENS(NAME)                                                                                    \
  int NAME(const char *p, int flags, ...) {                                                            \
    mode_t m = 0;                                                                                      \
    if (flags & (O_CREAT | O_TMPFILE)) {                                                               \
      va_list a;                                                                                       \
      va_start(a, flags);                                                                              \
      m = va_arg(a, mode_t);                                                                           \
      va_end(a);                                                                                       \
    }                                                                                                  \
    CALLS_DISK("open", p, createUs, flags & (O_CREAT | O_TRUNC), REAL(NAME)(p, flags, m))              \
  }
OPENS(open)
OPENS(open64)
ON_FD(ssize_t, write, (int fd, const void *b, size_t n), (fd, b, n), writeUs, 1)
ON_FD(ssize_t, writev, (int fd, const struct iovec *v, int n), (fd, v, n), writeUs, 1)
ON_FD(ssize_t, pwrite64, (int fd, const void *b, size_t n, off64_t o), (fd, b, n, o), writeUs, 1)
ON_FD(ssize_t, pwritev64, (int fd, const struct iovec *v, int n, off64_t o), (fd, v, n, o), writeUs, 1)
ON_FD(int, ftruncate64, (int fd, off64_t n), (fd, n), writeUs, 1)
ON_FD(ssize_t, copy_file_range, (int in, off64_t *i, int fd, off64_t *o, size_t n, unsigned f), (in, i, fd, o, n, f), writeUs, 1)
ON_FD(ssize_t, sendfile64, (int fd, int in, off64_t *o, size_t n), (fd, in, o, n), writeUs, 1)
ON_FD(int, fsync, (int fd), (fd), syncUs, 1)
ON_FD(int, fdatasync, (int fd), (fd), syncUs, 1)
ON_FD(ssize_t, read, (int fd, void *b, size_t n), (fd, b, n), writeUs, 0)
ON_FD(ssize_t, readv, (int fd, const struct iovec *v, int n), (fd, v, n), writeUs, 0)
ON_FD(ssize_t, pread64, (int fd, void *b, size_t n, off64_t o), (fd, b, n, o), writeUs, 0)
ON_FD(ssize_t, preadv64, (int fd, const struct iovec *v, int n, off64_t o), (fd, v, n, o), writeUs, 0)
ON_PATH(int, rename, (const char *a, const char *b), (a, b), b, renameUs, 1)
ON_PATH(int, link, (const char *a, const char *b), (a, b), b, renameUs, 1)
ON_PATH(int, symlink, (const char *a, const char *b), (a, b), b, renameUs, 1)
ON_PATH(int, unlink, (const char *a), (a), a, renameUs, 1)
ON_PATH(int, rmdir, (const char *a), (a), a, renameUs, 1)
ON_PATH(int, mkdir, (const char *a, mode_t m), (a, m), a, renameUs, 1)
ON_PATH(ssize_t, readlink, (const char *restrict a, char *restrict b, size_t n), (a, b, n), a, renameUs, 0)
ON_PATH(char *, realpath, (const char *restrict a, char *restrict b), (a, b), a, renameUs, 0)
ON_PATH(FILE *, fopen64, (const char *restrict a, const char *restrict m), (a, m), a, createUs, 0)
ON_PATH(DIR *, opendir, (const char *a), (a), a, renameUs, 0)
ON_PATH(int, scandir64, (const char *restrict a, struct dirent64 ***restrict l, int (*f)(const struct dirent64 *), int (*o)(const struct dirent64 **, const struct dirent64 **)), (a, l, f, o), a, renameUs, 0)
ON_PATH(int, access, (const char *a, int m), (a, m), a, renameUs, 0)

/* libuv looks at files through here. */
long syscall(long number, ...) {
  va_list a;
  long g[6];
  va_start(a, number);
  for (int i = 0; i < 6; i++) g[i] = va_arg(a, long);
  va_end(a);
#define AS_GIVEN REAL(syscall)(number, g[0], g[1], g[2], g[3], g[4], g[5])
  if (number != SYS_statx) return AS_GIVEN;
  CALLS_DISK("statx", (const char *)g[1], renameUs, 0, AS_GIVEN)
}
