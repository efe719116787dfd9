// SPDX-License-Identifier: GPL-2.0
/*
 * The pins of a board that is not there: a GPIO chip with lines 0 to 27 and a PWM chip with four
 * channels. They keep what they are told; everything between them and a program is the kernel's own.
 * Debian's kernels for PCs have neither gpio-sim nor gpio-mockup, and no PWM chip for a test.
 */
#include <linux/gpio/driver.h>
#include <linux/module.h>
#include <linux/platform_device.h>
#include <linux/pwm.h>

#define LINES 28

static unsigned long out;      /* bit per line: it is an output */
static unsigned long level;    /* bit per line: as an output it is high */
static unsigned long grounded; /* bit per line: as an input it is low, and high without it */
module_param(grounded, ulong, 0644);
module_param(out, ulong, 0444);
module_param(level, ulong, 0444);

static int get_direction(struct gpio_chip *chip, unsigned int line)
{
	return test_bit(line, &out) ? GPIO_LINE_DIRECTION_OUT : GPIO_LINE_DIRECTION_IN;
}

static int get(struct gpio_chip *chip, unsigned int line)
{
	return test_bit(line, &out) ? test_bit(line, &level) : !test_bit(line, &grounded);
}

static void set(struct gpio_chip *chip, unsigned int line, int value)
{
	assign_bit(line, &level, value);
}

static int direction_input(struct gpio_chip *chip, unsigned int line)
{
	clear_bit(line, &out);
	return 0;
}

static int direction_output(struct gpio_chip *chip, unsigned int line, int value)
{
	set(chip, line, value);
	set_bit(line, &out);
	return 0;
}

/* Pull resistors may be asked for; `grounded` says what they and the wires make of it. */
static int set_config(struct gpio_chip *chip, unsigned int line, unsigned long config)
{
	return 0;
}

static struct gpio_chip gpio = {
	.label = "header-pins",
	.owner = THIS_MODULE,
	.base = -1,
	.ngpio = LINES,
	.get_direction = get_direction,
	.direction_input = direction_input,
	.direction_output = direction_output,
	.get = get,
	.set = set,
	.set_config = set_config,
};

/* The PWM core remembers the state, and shows it in debugfs. */
static int apply(struct pwm_chip *chip, struct pwm_device *pwm, const struct pwm_state *state)
{
	return 0;
}

static const struct pwm_ops pwm_ops = { .apply = apply, .owner = THIS_MODULE };
static struct pwm_chip pwm = { .ops = &pwm_ops, .npwm = 4 };

static struct platform_device *board;

static int __init start(void)
{
	int error;

	board = platform_device_register_simple("header-board", PLATFORM_DEVID_NONE, NULL, 0);
	if (IS_ERR(board))
		return PTR_ERR(board);
	gpio.parent = &board->dev;
	pwm.dev = &board->dev;
	error = devm_gpiochip_add_data(&board->dev, &gpio, NULL);
	if (!error)
		error = pwmchip_add(&pwm);
	if (error)
		platform_device_unregister(board);
	return error;
}
module_init(start);

/* Without an end: it stays until the machine is switched off. */
MODULE_DESCRIPTION("GPIO and PWM chips that are not there");
MODULE_LICENSE("GPL");
