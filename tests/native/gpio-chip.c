/*
 * A GPIO character device as linux/gpio.h (uapi v2) has it, behind a stand-in for ioctl: a test loads
 * this library where the driver would use the C library. Everything is laid out by the kernel's own
 * header, and every call is written down.
 */
#define _DEFAULT_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <linux/gpio.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define LINES 54
#define REQUESTS 8

static struct {
	int fd;
	struct gpio_v2_line_request request;
} claimed[REQUESTS];
static unsigned char level[LINES];
static char busy[LINES][GPIO_MAX_NAME_SIZE];
static int failure;
static int refusesPulls;
static int slowMs;
static char journal[8192];

static void note(const char *format, ...)
{
	size_t used = strlen(journal);
	va_list arguments;
	va_start(arguments, format);
	vsnprintf(journal + used, sizeof journal - used, format, arguments);
	va_end(arguments);
}

/* For the test. */

void stand_in_reset(void)
{
	memset(claimed, 0, sizeof claimed);
	memset(level, 0, sizeof level);
	memset(busy, 0, sizeof busy);
	failure = 0;
	refusesPulls = 0;
	slowMs = 0;
	journal[0] = 0;
}

void stand_in_busy(int line, const char *consumer)
{
	snprintf(busy[line], sizeof busy[line], "%s", consumer);
}

void stand_in_level(int line, int value) { level[line] = value; }
int stand_in_level_of(int line) { return level[line]; }
void stand_in_fail(int error) { failure = error; }
/* From now on no output may have a pull, as a pin controller may have it. */
void stand_in_refuse_pulls(int error) { refusesPulls = error; }
/* How long a call takes that reads or sets levels (ms). */
void stand_in_slow(int ms) { slowMs = ms; }

/* How many requests have not been given back. */
int stand_in_claims(void)
{
	int count = 0;
	for (int i = 0; i < REQUESTS; i++) {
		char path[32], target[16] = "";
		snprintf(path, sizeof path, "/proc/self/fd/%d", claimed[i].fd);
		if (claimed[i].fd && readlink(path, target, sizeof target - 1) > 0 &&
		    !strcmp(target, "/dev/null"))
			count++;
	}
	return count;
}

/* What was called since the last time. */
const char *stand_in_journal(void)
{
	static char copy[sizeof journal];
	memcpy(copy, journal, sizeof copy);
	journal[0] = 0;
	return copy;
}

/* Sizes, offsets and request numbers as the compiler sees them. */
const char *stand_in_layout(void)
{
	static char text[1024];
	snprintf(text, sizeof text,
		 "chipInfo %lu lineInfo %lu request %lu getValues %lu setValues %lu "
		 "request.bytes %zu request.consumer %zu request.flags %zu request.attributes %zu "
		 "request.lines %zu request.fd %zu lineInfo.flags %zu",
		 (unsigned long)GPIO_GET_CHIPINFO_IOCTL, (unsigned long)GPIO_V2_GET_LINEINFO_IOCTL,
		 (unsigned long)GPIO_V2_GET_LINE_IOCTL, (unsigned long)GPIO_V2_LINE_GET_VALUES_IOCTL,
		 (unsigned long)GPIO_V2_LINE_SET_VALUES_IOCTL, sizeof(struct gpio_v2_line_request),
		 offsetof(struct gpio_v2_line_request, consumer),
		 offsetof(struct gpio_v2_line_request, config.flags),
		 offsetof(struct gpio_v2_line_request, config.attrs),
		 offsetof(struct gpio_v2_line_request, num_lines),
		 offsetof(struct gpio_v2_line_request, fd), offsetof(struct gpio_v2_line_info, flags));
	return text;
}

/* The kernel's side. */

static void pause_call(void)
{
	if (slowMs)
		usleep(slowMs * 1000);
}

static int fail(int error)
{
	errno = error;
	return -1;
}

static __u64 flags_of(const struct gpio_v2_line_config *config, unsigned int line)
{
	for (unsigned int i = 0; i < config->num_attrs; i++)
		if (config->attrs[i].attr.id == GPIO_V2_LINE_ATTR_ID_FLAGS &&
		    config->attrs[i].mask & (1ull << line))
			return config->attrs[i].attr.flags;
	return config->flags;
}

static const char *pull_of(__u64 flags)
{
	return flags & GPIO_V2_LINE_FLAG_BIAS_PULL_UP     ? "up"
	       : flags & GPIO_V2_LINE_FLAG_BIAS_PULL_DOWN ? "down"
	       : flags & GPIO_V2_LINE_FLAG_BIAS_DISABLED  ? "off"
							  : "as is";
}

static int claim(struct gpio_v2_line_request *request)
{
	const struct gpio_v2_line_config *config = &request->config;
	int slot = 0;
	while (slot < REQUESTS && claimed[slot].fd)
		slot++;
	if (!request->num_lines || request->num_lines > GPIO_V2_LINES_MAX || slot == REQUESTS ||
	    config->num_attrs > GPIO_V2_LINE_NUM_ATTRS_MAX)
		return fail(EINVAL);
	for (unsigned int i = 0; i < request->num_lines; i++) {
		if (request->offsets[i] >= LINES)
			return fail(EINVAL);
		if (busy[request->offsets[i]][0])
			return fail(EBUSY);
		__u64 flags = flags_of(config, i);
		if (refusesPulls && flags & GPIO_V2_LINE_FLAG_OUTPUT &&
		    flags & (GPIO_V2_LINE_FLAG_BIAS_PULL_UP | GPIO_V2_LINE_FLAG_BIAS_PULL_DOWN))
			return fail(refusesPulls);
	}
	note("claim by %s:", request->consumer);
	for (unsigned int i = 0; i < request->num_lines; i++) {
		unsigned int line = request->offsets[i];
		__u64 flags = flags_of(config, i);
		int out = (flags & GPIO_V2_LINE_FLAG_OUTPUT) != 0;
		if (out == ((flags & GPIO_V2_LINE_FLAG_INPUT) != 0))
			return fail(EINVAL);
		if (out) {
			int value = 0;
			for (unsigned int a = 0; a < config->num_attrs; a++)
				if (config->attrs[a].attr.id == GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES &&
				    config->attrs[a].mask & (1ull << i))
					value = (config->attrs[a].attr.values >> i) & 1;
			level[line] = value;
			note(" %u=%d, %s", line, value, pull_of(flags));
		} else {
			note(" %u<%s", line, pull_of(flags));
		}
	}
	note("\n");
	request->fd = open("/dev/null", O_RDONLY);
	/* A number that is given out again belonged to lines that were given back. */
	for (int i = 0; i < REQUESTS; i++)
		if (claimed[i].fd == request->fd)
			claimed[i].fd = 0;
	claimed[slot].fd = request->fd;
	claimed[slot].request = *request;
	return 0;
}

static int values(int fd, int set, struct gpio_v2_line_values *values)
{
	for (int slot = 0; slot < REQUESTS; slot++) {
		const struct gpio_v2_line_request *request = &claimed[slot].request;
		if (claimed[slot].fd != fd)
			continue;
		if (!values->mask || (request->num_lines < 64 && values->mask >> request->num_lines))
			return fail(EINVAL);
		if (set)
			note("set");
		for (unsigned int i = 0; i < request->num_lines; i++) {
			__u64 bit = 1ull << i;
			unsigned int line = request->offsets[i];
			if (!(values->mask & bit))
				continue;
			if (set) {
				level[line] = (values->bits & bit) != 0;
				note(" %u=%d", line, level[line]);
			} else if (level[line]) {
				values->bits |= bit;
			}
		}
		if (set)
			note("\n");
		return 0;
	}
	return fail(EBADF);
}

int ioctl(int fd, unsigned long number, ...)
{
	va_list arguments;
	va_start(arguments, number);
	void *argument = va_arg(arguments, void *);
	va_end(arguments);
	if (failure)
		return fail(failure);
	switch (number) {
	case GPIO_GET_CHIPINFO_IOCTL: {
		struct gpiochip_info *info = argument;
		snprintf(info->name, sizeof info->name, "gpiochip0");
		snprintf(info->label, sizeof info->label, "pinctrl-stand-in");
		info->lines = LINES;
		return 0;
	}
	case GPIO_V2_GET_LINEINFO_IOCTL: {
		struct gpio_v2_line_info *info = argument;
		snprintf(info->consumer, sizeof info->consumer, "%s", busy[info->offset]);
		info->flags = busy[info->offset][0] ? GPIO_V2_LINE_FLAG_USED : 0;
		return 0;
	}
	case GPIO_V2_GET_LINE_IOCTL:
		return claim(argument);
	case GPIO_V2_LINE_GET_VALUES_IOCTL:
		pause_call();
		return values(fd, 0, argument);
	case GPIO_V2_LINE_SET_VALUES_IOCTL:
		pause_call();
		return values(fd, 1, argument);
	}
	return fail(ENOTTY);
}
