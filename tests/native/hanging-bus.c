/*
 * An I2C bus and PWM files that hang when they are told to. Preloaded into a process:
 *   HANG_BUS     /dev/i2c-7 and /dev/i2c-8 are buses of plain register chips at every address; a
 *                transfer takes a millisecond. Each transfer that writes bytes is a line in this file:
 *                bus, address, first register, bytes. The chips have registers of 16 bits, too, apart
 *                from those: they are INA226 that always have 1 mV at the shunt and 6 V behind it.
 *   HANG_WHILE   while the file HANG_WHILE.7 (or .8) exists, a transfer of that bus ends after 1 s, or
 *                after the limit set by I2C_TIMEOUT, with ETIMEDOUT, as an adapter's does that gets no
 *                answer; while HANG_WHILE.pwm exists, a write to a file named duty_cycle takes 1 s;
 *                while HANG_WHILE.deaf exists, I2C_TIMEOUT is refused, as by an old kernel.
 * Numbers and layout: linux/i2c.h and linux/i2c-dev.h.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/i2c-dev.h>
#include <linux/i2c.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/types.h>
#include <time.h>
#include <unistd.h>

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define FDS 256

static struct {
	int bus, address;
} opened[FDS];
static unsigned char registers[10][128][256];
static unsigned short words[10][128][256];
static long limitMs[10];
static pthread_mutex_t lock[10] = {[7] = PTHREAD_MUTEX_INITIALIZER, [8] = PTHREAD_MUTEX_INITIALIZER};

static void pause_ms(long ms)
{
	struct timespec time = {ms / 1000, ms % 1000 * 1000000};
	nanosleep(&time, NULL);
}

static int hangs(const char *what)
{
	char path[512];
	const char *prefix = getenv("HANG_WHILE");
	if (!prefix)
		return 0;
	snprintf(path, sizeof path, "%s.%s", prefix, what);
	return access(path, F_OK) == 0;
}

/* The bus that a descriptor is of. libuv closes by system call, past close() below, and its number comes again. */
static int bus_of(int fd)
{
	if (fd < 0 || fd >= FDS || !opened[fd].bus)
		return 0;
	char link[64], path[64] = "";
	snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
	if (readlink(link, path, sizeof path - 1) < 0 || !strstr(path, "memfd:i2c"))
		opened[fd].bus = 0;
	return opened[fd].bus;
}

static void note(int bus, int address, int first, const unsigned char *bytes, int count)
{
	char line[512];
	int used = snprintf(line, sizeof line, "%d %d %d", bus, address, first);
	for (int i = 0; i < count; i++)
		used += snprintf(line + used, sizeof line - used, " %d", bytes[i]);
	line[used++] = '\n';
	int fd = REAL(open)(getenv("HANG_BUS"), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
	if (fd < 0 || REAL(write)(fd, line, used) != used)
		abort();
	close(fd);
}

/* One transfer; the bus does one after the other. */
static int transfer(int fd, int write, int first, unsigned char *bytes, int count)
{
	int bus = bus_of(fd), address = opened[fd].address, failed = 0;
	char name[8];
	snprintf(name, sizeof name, "%d", bus);
	pthread_mutex_lock(&lock[bus]);
	if (hangs(name)) {
		pause_ms(limitMs[bus] ? limitMs[bus] : 1000);
		failed = 1;
	} else {
		pause_ms(1);
		for (int i = 0; i < count; i++) {
			unsigned char *at = &registers[bus][address][(first + i) & 255];
			if (write)
				*at = bytes[i];
			else
				bytes[i] = *at;
		}
		if (write)
			note(bus, address, first, bytes, count);
	}
	pthread_mutex_unlock(&lock[bus]);
	if (failed)
		errno = ETIMEDOUT;
	return failed ? -1 : 0;
}

/* A word as the chip has it, high byte first; SMBus has the low byte first. */
static int transfer_word(int fd, int write, int at, unsigned short *word)
{
	unsigned char none;
	if (transfer(fd, 0, 0, &none, 0))
		return -1;
	unsigned short *kept = &words[bus_of(fd)][opened[fd].address][at & 255];
	if (write)
		*kept = *word << 8 | *word >> 8;
	else
		*word = *kept << 8 | *kept >> 8;
	return 0;
}

/* Manufacturer, die, a finished conversion, and what it measured. */
__attribute__((constructor)) static void make_meters(void)
{
	for (int bus = 7; bus <= 8; bus++)
		for (int address = 0; address < 128; address++) {
			unsigned short *chip = words[bus][address];
			chip[0xfe] = 0x5449, chip[0xff] = 0x2260, chip[6] = 8, chip[0] = 0x4127;
			chip[1] = 400, chip[2] = 4800;
		}
}

int ioctl(int fd, unsigned long request, ...)
{
	va_list arguments;
	va_start(arguments, request);
	void *argument = va_arg(arguments, void *);
	va_end(arguments);
	int bus = bus_of(fd);
	if (!bus)
		return REAL(ioctl)(fd, request, argument);
	switch (request) {
	case I2C_TIMEOUT:
		if (hangs("deaf"))
			break;
		limitMs[bus] = (long)argument * 10;
		return 0;
	case I2C_RETRIES:
		return 0;
	case I2C_SLAVE:
		opened[fd].address = (long)argument & 127;
		return 0;
	case I2C_FUNCS:
		*(unsigned long *)argument = getenv("HANG_SMBUS")
			? I2C_FUNC_SMBUS_BYTE_DATA | I2C_FUNC_SMBUS_I2C_BLOCK
			: I2C_FUNC_I2C | I2C_FUNC_SMBUS_EMUL;
		return 0;
	case I2C_SMBUS: {
		struct i2c_smbus_ioctl_data *data = argument;
		int write = data->read_write == I2C_SMBUS_WRITE;
		if (data->size == I2C_SMBUS_BYTE_DATA)
			return transfer(fd, write, data->command, &data->data->byte, 1);
		if (data->size == I2C_SMBUS_WORD_DATA)
			return transfer_word(fd, write, data->command, &data->data->word);
		if (data->size == I2C_SMBUS_I2C_BLOCK_DATA && write && data->data->block[0] <= 32)
			return transfer(fd, 1, data->command, data->data->block + 1, data->data->block[0]);
	}
	}
	errno = EINVAL;
	return -1;
}

ssize_t write(int fd, const void *bytes, size_t count)
{
	if (!bus_of(fd))
		return REAL(write)(fd, bytes, count);
	const unsigned char *sent = bytes;
	if (getenv("HANG_SMBUS")) {
		errno = EOPNOTSUPP;
		return -1;
	}
	return transfer(fd, 1, sent[0], (unsigned char *)sent + 1, count - 1) ? -1 : (ssize_t)count;
}

static void hang_pwm(int fd)
{
	char link[64], path[512] = "";
	snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
	if (readlink(link, path, sizeof path - 1) > 0 && strstr(path, "/duty_cycle") && hangs("pwm"))
		pause_ms(1000);
}

ssize_t pwrite64(int fd, const void *bytes, size_t count, off64_t at)
{
	hang_pwm(fd);
	return REAL(pwrite64)(fd, bytes, count, at);
}

ssize_t pwrite(int fd, const void *bytes, size_t count, off_t at)
{
	hang_pwm(fd);
	return REAL(pwrite)(fd, bytes, count, at);
}

static int open_bus(const char *path)
{
	int bus = 0;
	if (sscanf(path, "/dev/i2c-%d", &bus) != 1 || (bus != 7 && bus != 8))
		return -1;
	int fd = memfd_create("i2c", MFD_CLOEXEC);
	if (fd >= FDS)
		abort();
	opened[fd].bus = bus;
	return fd;
}

int close(int fd)
{
	if (bus_of(fd))
		opened[fd].bus = 0;
	return REAL(close)(fd);
}

#define OPENS(name)                                                                                \
	int name(const char *path, int flags, ...)                                                     \
	{                                                                                              \
		va_list arguments;                                                                         \
		va_start(arguments, flags);                                                                \
		mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(arguments, mode_t) : 0;               \
		va_end(arguments);                                                                         \
		int bus = open_bus(path);                                                                  \
		return bus >= 0 ? bus : REAL(name)(path, flags, mode);                                     \
	}
OPENS(open)
OPENS(open64)
