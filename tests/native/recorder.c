/*
 * libpigpio.so for a machine without the hardware. It checks what it is told as the library's C
 * interface says (abyz.me.uk/rpi/pigpio/cif.html: ranges, error numbers, what must come before
 * gpioInitialise; from memory), keeps what every pin does as BCM2835 ARM Peripherals chapter 6 has it
 * (a level written to an input appears when the pin becomes an output), and writes all of it down.
 *
 * PIGPIO_RECORD    the file to append to: one JSON object a line
 *   {"ns":…,"call":"gpioServo","args":[18,1500],"rc":0}   a call; "violation" says what is wrong
 *   {"ns":…,"pin":18,"drives":"servo 1500"}               what a pin does from now on
 *   {"ns":…,"signal":15}                                  the library's own handler ends the process
 * PIGPIO_LEVELS    a file of 32 characters, one a GPIO, of what is wired to it: 0, 1, - for nothing,
 *                  or v for a low spike that is over after one read
 * PIGPIO_REVISION  the board's revision code, hexadecimal
 * PIGPIO_IN_USE    set: another program has the library, so it does not start
 */
#include "pigpio.h"

#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define PINS 54
#define USER_PINS 32

enum {
  INIT_FAILED = -1,
  BAD_USER_GPIO = -2,
  BAD_GPIO = -3,
  BAD_MODE = -4,
  BAD_LEVEL = -5,
  BAD_PUD = -6,
  BAD_PULSEWIDTH = -7,
  BAD_DUTYCYCLE = -8,
  BAD_IF_FLAGS = -17,
  BAD_CLK_PERIPH = -18,
  BAD_CLK_MICROS = -19,
  BAD_DUTYRANGE = -21,
  NOT_INITIALISED = -31,
  INITIALISED = -32,
  NOT_SERVO_GPIO = -93,
  NOT_PWM_GPIO = -92
};

enum { INPUT = 0, OUTPUT = 1 };
enum { PULL_OFF = 0, PULL_DOWN = 1, PULL_UP = 2 };

/* Samples a PWM period of each selectable frequency, at every sample period. */
static const int REAL_RANGES[] = {25,  50,  100, 125,  200,  250,  400,  500,   625,
                                  800, 1000, 1250, 2000, 2500, 4000, 5000, 10000, 20000};
#define FREQUENCIES ((int)(sizeof REAL_RANGES / sizeof *REAL_RANGES))
/* 800 Hz at 5 us. */
#define DEFAULT_FREQUENCY 5

enum use { LEVEL, SERVO, PWM };

struct pin {
  unsigned mode, pull, latch;
  enum use use;
  unsigned us, duty, range;
  int frequency;
  char drives[32];
};

static struct pin pins[PINS];
static int running;
static unsigned sampleUs = 5;

static long long nowNs(void) {
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return now.tv_sec * 1000000000LL + now.tv_nsec;
}

/* One write a line, so that no two threads mix their lines and none is lost with the process. */
static void record(const char *format, ...) {
  char line[512];
  int length = snprintf(line, sizeof line, "{\"ns\":%lld,", nowNs());
  va_list values;
  va_start(values, format);
  length += vsnprintf(line + length, sizeof line - length, format, values);
  va_end(values);
  length += snprintf(line + length, sizeof line - length, "}\n");
  const char *file = getenv("PIGPIO_RECORD");
  int to = file ? open(file, O_WRONLY | O_APPEND | O_CREAT, 0644) : -1;
  if (to < 0 || write(to, line, length) != length) {
    fprintf(stderr, "recorder: cannot write to PIGPIO_RECORD\n");
    abort();
  }
  close(to);
}

static int ok(const char *call, const char *args, int rc) {
  record("\"call\":\"%s\",\"args\":[%s],\"rc\":%d", call, args, rc);
  return rc;
}

static int bad(const char *call, const char *args, int rc, const char *why) {
  record("\"call\":\"%s\",\"args\":[%s],\"rc\":%d,\"violation\":\"%s\"", call, args, rc, why);
  return rc;
}

#define ARGS(...)                                                                                  \
  char args[64];                                                                                   \
  snprintf(args, sizeof args, __VA_ARGS__)
#define REQUIRE(condition, rc, why)                                                                \
  if (!(condition)) return bad(__func__, args, rc, why)
#define REQUIRE_RUNNING REQUIRE(running, NOT_INITIALISED, "the library is not initialised")
#define REQUIRE_USER_GPIO REQUIRE(gpio < USER_PINS, BAD_USER_GPIO, "GPIO is not 0 to 31")
#define REQUIRE_GPIO REQUIRE(gpio < PINS, BAD_GPIO, "GPIO is not 0 to 53")

static int realRange(const struct pin *pin) { return REAL_RANGES[pin->frequency]; }

static int frequencyHz(int index) { return 1000000 / (int)sampleUs / REAL_RANGES[index]; }

static void tellPin(unsigned gpio) {
  struct pin *pin = &pins[gpio];
  char drives[sizeof pin->drives];
  if (pin->mode != OUTPUT)
    strcpy(drives, "nothing");
  else if (pin->use == SERVO && pin->us > 0)
    /* An edge lies on a sample. */
    snprintf(drives, sizeof drives, "servo %u", pin->us / sampleUs * sampleUs);
  else if (pin->use == PWM && pin->duty > 0 && pin->duty < pin->range)
    snprintf(drives, sizeof drives, "pwm %u/%d", pin->duty * realRange(pin) / pin->range,
             realRange(pin));
  else if (pin->use == PWM)
    strcpy(drives, pin->duty > 0 ? "1" : "0");
  else
    strcpy(drives, pin->use == LEVEL && pin->latch ? "1" : "0");
  if (strcmp(drives, pin->drives) == 0) return;
  strcpy(pin->drives, drives);
  record("\"pin\":%u,\"drives\":\"%s\"", gpio, drives);
}

static char wired(unsigned gpio) {
  const char *file = getenv("PIGPIO_LEVELS");
  int from = file && gpio < USER_PINS ? open(file, O_RDWR) : -1;
  char level = '-';
  if (from < 0) return level;
  if (pread(from, &level, 1, gpio) != 1) level = '-';
  if (level == 'v') {
    if (pwrite(from, "-", 1, gpio) != 1) abort();
    level = '0';
  }
  close(from);
  return level;
}

/* The library's handler: it takes all signals and ends the process at all but a few. */
static void onSignal(int number) {
  if (number == SIGUSR1 || number == SIGUSR2 || number == SIGPIPE || number == SIGWINCH) return;
  record("\"signal\":%d", number);
  gpioTerminate();
  /* The real one calls exit, which may hang in a handler. */
  _exit(255);
}

unsigned gpioHardwareRevision(void) {
  const char *text = getenv("PIGPIO_REVISION");
  unsigned revision = text ? strtoul(text, NULL, 16) : 0;
  return (unsigned)ok(__func__, "", (int)revision);
}

int gpioCfgClock(unsigned micros, unsigned peripheral, unsigned source) {
  ARGS("%u,%u,%u", micros, peripheral, source);
  REQUIRE(!running, INITIALISED, "too late: the library is initialised");
  REQUIRE(micros == 1 || micros == 2 || micros == 4 || micros == 5 || micros == 8 || micros == 10,
          BAD_CLK_MICROS, "sample period is not 1, 2, 4, 5, 8 or 10");
  REQUIRE(peripheral <= 1, BAD_CLK_PERIPH, "peripheral is not 0 or 1");
  sampleUs = micros;
  return ok(__func__, args, 0);
}

int gpioCfgInterfaces(unsigned flags) {
  ARGS("%u", flags);
  REQUIRE(!running, INITIALISED, "too late: the library is initialised");
  REQUIRE(flags <= 15, BAD_IF_FLAGS, "unknown flags");
  return ok(__func__, args, 0);
}

int gpioCfgSocketPort(unsigned port) {
  ARGS("%u", port);
  REQUIRE(!running, INITIALISED, "too late: the library is initialised");
  return ok(__func__, args, 0);
}

int gpioInitialise(void) {
  ARGS("%s", "");
  REQUIRE(!running, 79, "initialised twice");
  if (getenv("PIGPIO_IN_USE")) return ok(__func__, args, INIT_FAILED);
  struct sigaction action;
  memset(&action, 0, sizeof action);
  action.sa_handler = onSignal;
  for (int number = 1; number < 64; number++) sigaction(number, &action, NULL);
  for (int gpio = 0; gpio < PINS; gpio++) {
    pins[gpio].range = 255;
    pins[gpio].frequency = DEFAULT_FREQUENCY;
    if (pins[gpio].drives[0] == 0) strcpy(pins[gpio].drives, "nothing");
  }
  running = 1;
  return ok(__func__, args, 79);
}

/* The pins stay as they are. Pulses and PWM end somewhere in their period. */
void gpioTerminate(void) {
  if (!running) {
    bad(__func__, "", 0, "the library is not initialised");
    return;
  }
  running = 0;
  for (int gpio = 0; gpio < PINS; gpio++)
    if (pins[gpio].mode == OUTPUT && strpbrk(pins[gpio].drives, " ")) {
      bad(__func__, "", 0, "pulses or PWM are still on");
      return;
    }
  ok(__func__, "", 0);
}

uint32_t gpioTick(void) { return (uint32_t)(nowNs() / 1000); }

int gpioSetMode(unsigned gpio, unsigned mode) {
  ARGS("%u,%u", gpio, mode);
  REQUIRE_RUNNING;
  REQUIRE_GPIO;
  REQUIRE(mode <= 7, BAD_MODE, "mode is not 0 to 7");
  ok(__func__, args, 0);
  pins[gpio].mode = mode;
  tellPin(gpio);
  return 0;
}

int gpioGetMode(unsigned gpio) {
  ARGS("%u", gpio);
  REQUIRE_RUNNING;
  REQUIRE_GPIO;
  return ok(__func__, args, (int)pins[gpio].mode);
}

int gpioSetPullUpDown(unsigned gpio, unsigned pull) {
  ARGS("%u,%u", gpio, pull);
  REQUIRE_RUNNING;
  REQUIRE_GPIO;
  REQUIRE(pull <= PULL_UP, BAD_PUD, "pull is not 0 to 2");
  pins[gpio].pull = pull;
  return ok(__func__, args, 0);
}

int gpioRead(unsigned gpio) {
  ARGS("%u", gpio);
  REQUIRE_RUNNING;
  REQUIRE_GPIO;
  const struct pin *pin = &pins[gpio];
  if (pin->mode == OUTPUT) return ok(__func__, args, (int)pin->latch);
  char level = wired(gpio);
  REQUIRE(level != '-' || pin->pull != PULL_OFF, 0, "the input floats");
  return ok(__func__, args, level == '-' ? pin->pull == PULL_UP : level == '1');
}

int gpioWrite(unsigned gpio, unsigned level) {
  ARGS("%u,%u", gpio, level);
  REQUIRE_RUNNING;
  REQUIRE_GPIO;
  REQUIRE(level <= 1, BAD_LEVEL, "level is not 0 or 1");
  ok(__func__, args, 0);
  pins[gpio].use = LEVEL;
  pins[gpio].latch = level;
  tellPin(gpio);
  return 0;
}

int gpioServo(unsigned gpio, unsigned us) {
  ARGS("%u,%u", gpio, us);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  REQUIRE(us == 0 || (us >= 500 && us <= 2500), BAD_PULSEWIDTH, "pulse is not 0 or 500 to 2500");
  REQUIRE(pins[gpio].mode == OUTPUT, 0, "the pin is not an output");
  ok(__func__, args, 0);
  pins[gpio].use = SERVO;
  pins[gpio].us = us;
  tellPin(gpio);
  return 0;
}

int gpioGetServoPulsewidth(unsigned gpio) {
  ARGS("%u", gpio);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  REQUIRE(pins[gpio].use == SERVO, NOT_SERVO_GPIO, "the pin sends no servo pulses");
  return ok(__func__, args, (int)pins[gpio].us);
}

int gpioPWM(unsigned gpio, unsigned duty) {
  ARGS("%u,%u", gpio, duty);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  REQUIRE(duty <= pins[gpio].range, BAD_DUTYCYCLE, "duty is above the range");
  REQUIRE(pins[gpio].mode == OUTPUT, 0, "the pin is not an output");
  ok(__func__, args, 0);
  pins[gpio].use = PWM;
  pins[gpio].duty = duty;
  tellPin(gpio);
  return 0;
}

int gpioGetPWMdutycycle(unsigned gpio) {
  ARGS("%u", gpio);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  REQUIRE(pins[gpio].use == PWM, NOT_PWM_GPIO, "the pin has no PWM");
  return ok(__func__, args, (int)pins[gpio].duty);
}

int gpioSetPWMrange(unsigned gpio, unsigned range) {
  ARGS("%u,%u", gpio, range);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  REQUIRE(range >= 25 && range <= 40000, BAD_DUTYRANGE, "range is not 25 to 40000");
  pins[gpio].range = range;
  return ok(__func__, args, realRange(&pins[gpio]));
}

int gpioGetPWMrange(unsigned gpio) {
  ARGS("%u", gpio);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  return ok(__func__, args, (int)pins[gpio].range);
}

int gpioGetPWMrealRange(unsigned gpio) {
  ARGS("%u", gpio);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  return ok(__func__, args, realRange(&pins[gpio]));
}

/* The nearest of the frequencies there are. */
int gpioSetPWMfrequency(unsigned gpio, unsigned hz) {
  ARGS("%u,%u", gpio, hz);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  int nearest = 0;
  for (int i = 1; i < FREQUENCIES; i++)
    if (abs(frequencyHz(i) - (int)hz) < abs(frequencyHz(nearest) - (int)hz)) nearest = i;
  pins[gpio].frequency = nearest;
  return ok(__func__, args, frequencyHz(nearest));
}

int gpioGetPWMfrequency(unsigned gpio) {
  ARGS("%u", gpio);
  REQUIRE_RUNNING;
  REQUIRE_USER_GPIO;
  return ok(__func__, args, frequencyHz(pins[gpio].frequency));
}

#define NOT_MODELLED                                                                               \
  { return bad(__func__, "", -1, "not modelled"); }
int gpioTrigger(unsigned gpio, unsigned us, unsigned level) NOT_MODELLED
int gpioHardwarePWM(unsigned gpio, unsigned hz, unsigned duty) NOT_MODELLED
int gpioGlitchFilter(unsigned gpio, unsigned us) NOT_MODELLED
int gpioSetISRFunc(unsigned gpio, unsigned edge, int timeout, gpioISRFunc_t func) NOT_MODELLED
int gpioSetAlertFunc(unsigned gpio, gpioAlertFunc_t func) NOT_MODELLED
uint32_t gpioRead_Bits_0_31(void) NOT_MODELLED
uint32_t gpioRead_Bits_32_53(void) NOT_MODELLED
int gpioWrite_Bits_0_31_Set(uint32_t bits) NOT_MODELLED
int gpioWrite_Bits_32_53_Set(uint32_t bits) NOT_MODELLED
int gpioWrite_Bits_0_31_Clear(uint32_t bits) NOT_MODELLED
int gpioWrite_Bits_32_53_Clear(uint32_t bits) NOT_MODELLED
int gpioNotifyOpen(void) NOT_MODELLED
int gpioNotifyOpenWithSize(int size) NOT_MODELLED
int gpioNotifyBegin(unsigned handle, uint32_t bits) NOT_MODELLED
int gpioNotifyPause(unsigned handle) NOT_MODELLED
int gpioNotifyClose(unsigned handle) NOT_MODELLED
int gpioWaveClear(void) NOT_MODELLED
int gpioWaveAddNew(void) NOT_MODELLED
int gpioWaveAddGeneric(unsigned count, gpioPulse_t *pulses) NOT_MODELLED
int gpioWaveCreate(void) NOT_MODELLED
int gpioWaveDelete(unsigned wave) NOT_MODELLED
int gpioWaveTxSend(unsigned wave, unsigned mode) NOT_MODELLED
int gpioWaveChain(char *bytes, unsigned count) NOT_MODELLED
int gpioWaveTxAt(void) NOT_MODELLED
int gpioWaveTxBusy(void) NOT_MODELLED
int gpioWaveTxStop(void) NOT_MODELLED
int gpioWaveGetMicros(void) NOT_MODELLED
int gpioWaveGetHighMicros(void) NOT_MODELLED
int gpioWaveGetMaxMicros(void) NOT_MODELLED
int gpioWaveGetPulses(void) NOT_MODELLED
int gpioWaveGetHighPulses(void) NOT_MODELLED
int gpioWaveGetMaxPulses(void) NOT_MODELLED
int gpioWaveGetCbs(void) NOT_MODELLED
int gpioWaveGetHighCbs(void) NOT_MODELLED
int gpioWaveGetMaxCbs(void) NOT_MODELLED
