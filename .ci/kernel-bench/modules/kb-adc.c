// SPDX-License-Identifier: GPL-2.0
/*
 * kb-adc: an I2C bus on which up to four ADS1115 converters answer, for the
 * kernel bench. The registers are those of the data sheet (Texas Instruments
 * SBAS444): conversion, configuration, low and high threshold; single shot and
 * continuous conversions, multiplexer, ranges, data rates, the OS bit and the
 * ready function of the ALERT/RDY pin. A code is the mean of its input over the
 * conversion, as the real converter integrates, or another filter's (see means and
 * last_percent). The comparator proper is left out.
 *
 * At 0x60 an MCP4725 answers (Microchip DS22039): the fast write, the writes with and
 * without its EEPROM, and the reading of all five bytes. Nothing hangs on its output.
 *
 * Knobs in /sys/module/kb_adc/parameters:
 *   microvolts   16 input voltages, chip 0 channel 0 first, then channel 1 ...
 *                (all at once; what they were before is kept for HISTORY writes)
 *   ppm          4 deviations of the chips' clocks
 *   present      mask of the chips that answer (0x48 is bit 0, the MCP4725 bit 4)
 *   fail_errno   what the next fail_count transfers end with
 *   fail_count
 *   delay_us     what each transfer takes, at least
 *   bus_hz       the bus's clock: a transfer takes as long as its bits do, nine for each
 *                address and each byte, and one for each start and the stop (0: no time)
 *   transfers    count of transfers so far
 *   ready        write "CHIP GPIOCHIP LINE": the simulated GPIO line that the
 *                chip's ALERT/RDY pin is wired to ("CHIP - 0" takes it off)
 *   loses        4 numbers N: every N-th ready edge of the chip is lost on the way (0: none)
 *   lost         4 counts of the edges lost so
 *   means        how many means in a row a conversion is, each over its share of the
 *                time: 1 (a plain mean) or 3
 *   last_percent over which last part of its time a conversion looks at its input
 *   dac          the MCP4725's code, then its power-down bits; writing "CODE" sets both
 *                and its EEPROM, as a chip that has just been switched on
 *   dac_writes   count of what was written to it
 *
 * The pin is worked from the interrupt of the timer that ends a conversion, by
 * raising the line's own interrupt: as with the real pin, no task of the machine has
 * to be scheduled for it, and its edge is stamped some microseconds later. Only the
 * edge at which it becomes active is made (low, unless the configuration says
 * otherwise); the line's level, which a pulse of 8 us would not show, stays.
 */
#include <linux/delay.h>
#include <linux/gpio/consumer.h>
#include <linux/gpio/driver.h>
#include <linux/hrtimer.h>
#include <linux/i2c.h>
#include <linux/interrupt.h>
#include <linux/irq.h>
#include <linux/ktime.h>
#include <linux/module.h>
#include <linux/mutex.h>
#include <linux/slab.h>

#define CHIPS 4
#define CHANNELS 4
#define INPUTS (CHIPS * CHANNELS)
#define FIRST_ADDRESS 0x48
#define HISTORY 64
#define DAC_ADDRESS 0x60
#define DAC_PRESENT BIT(CHIPS)

enum { REG_CONVERSION, REG_CONFIG, REG_LOW, REG_HIGH, REGISTERS };

#define CFG_OS 0x8000
#define CFG_SINGLE 0x0100
#define CFG_POLARITY 0x0008
#define CFG_QUEUE 0x0003

static int ppm[CHIPS];
module_param_array(ppm, int, NULL, 0644);
static uint present = 0xf;
module_param(present, uint, 0644);
static int fail_errno = EIO;
module_param(fail_errno, int, 0644);
static uint fail_count;
module_param(fail_count, uint, 0644);
static uint delay_us;
module_param(delay_us, uint, 0644);
static uint bus_hz;
module_param(bus_hz, uint, 0644);
static uint loses[CHIPS];
module_param_array(loses, uint, NULL, 0644);
static uint lost[CHIPS];
module_param_array(lost, uint, NULL, 0444);
static uint means = 1;
module_param(means, uint, 0644);
static uint last_percent = 100;
module_param(last_percent, uint, 0644);
static uint dac_writes;
module_param(dac_writes, uint, 0444);
static ulong transfers;
module_param(transfers, ulong, 0444);

struct chip {
	int index;
	u8 pointer;
	u16 reg[REGISTERS];
	bool converting;	/* single shot under way */
	u64 started;		/* ns: of this conversion, or of the first continuous one */
	struct hrtimer timer;	/* ends of conversions, where the ready pin is used */
	int ready;		/* interrupt of the line at the ready pin; 0: not wired */
	uint edges;		/* of that pin, lost ones included */
};

static struct chip chips[CHIPS];
static DEFINE_MUTEX(lock);	/* over the registers */

/* The inputs from an instant on, up to that of the next moment. */
struct moment {
	u64 from;
	int microvolts[INPUTS];
};

static struct moment history[HISTORY];	/* a ring; under the lock */
static uint latest;

/* One conversion, in ns: data rates of the data sheet's table for DR[2:0]. */
static u64 period(const struct chip *c)
{
	static const u16 rate[] = { 8, 16, 32, 64, 128, 250, 475, 860 };
	u64 ns = div_u64(1000000000ULL, rate[c->reg[REG_CONFIG] >> 5 & 7]);

	return ns - div_s64((s64)ns * ppm[c->index], 1000000 + ppm[c->index]);
}

/* Full scale in microvolts: the data sheet's table for PGA[2:0]. */
static int full_scale(u16 config)
{
	static const int range[] = { 6144000, 4096000, 2048000, 1024000, 512000, 256000, 256000, 256000 };

	return range[config >> 9 & 7];
}

#define ONE 65536LL	/* of a filter's weight, and of a conversion's time */

/* The share of a conversion's weight that lies before an instant x of it, both in 1/ONE.
 * Three means in a row weigh by the density of a sum of three even ones. */
static s64 weight(s64 x)
{
	s64 skipped = ONE * (100 - min(last_percent, 100U)) / 100, u;

	if (x <= skipped)
		return 0;
	x = div64_s64((x - skipped) * ONE, ONE - skipped);
	if (means != 3)
		return x;
	u = 3 * x;	/* 0 to 3 ONE; u * u * u needs less than 2^54 */
	if (u <= ONE)
		return div_s64(u * u / ONE * u / ONE, 6);
	if (u <= 2 * ONE)
		return div_s64(-2 * (u * u / ONE * u / ONE) + 9 * (u * u / ONE) - 9 * u + 3 * ONE, 6);
	u = 3 * ONE - u;
	return ONE - div_s64(u * u / ONE * u / ONE, 6);
}

/* What the filter makes of one input from an instant to a later one, in microvolts. */
static int filtered(int input, u64 from, u64 to)
{
	u64 end = to;
	s64 sum = 0, before = ONE;
	uint back;

	for (back = 0; back < HISTORY && end > from; back++) {
		const struct moment *m = &history[(latest - back) % HISTORY];
		u64 begin = max(m->from, from);
		s64 w;

		if (back == HISTORY - 1)
			begin = from;	/* older ones have been forgotten */
		if (begin >= end)
			continue;
		w = weight(div64_u64((begin - from) * ONE, to - from));
		sum += m->microvolts[input] * (before - w);
		before = w;
		end = begin;
	}
	return div_s64(sum, ONE);
}

/* The code of the conversion from an instant to a later one. MUX[2:0]: four pairs, then four against ground. */
static u16 sample(const struct chip *c, u64 from, u64 to)
{
	static const s8 pairs[][2] = { { 0, 1 }, { 0, 3 }, { 1, 3 }, { 2, 3 } };
	int first = c->index * CHANNELS;
	int mux = c->reg[REG_CONFIG] >> 12 & 7;
	s64 uv;

	if (mux >= 4)
		uv = filtered(first + mux - 4, from, to);
	else
		uv = filtered(first + pairs[mux][0], from, to) - filtered(first + pairs[mux][1], from, to);
	return (u16)(s16)clamp_t(s64, div_s64(uv * 32768, full_scale(c->reg[REG_CONFIG])), -32768, 32767);
}

static bool continuous(const struct chip *c)
{
	return !(c->reg[REG_CONFIG] & CFG_SINGLE);
}

/* The ready function: thresholds crossed and the comparator not switched off. */
static bool ready_used(const struct chip *c)
{
	return (c->reg[REG_HIGH] & 0x8000) && !(c->reg[REG_LOW] & 0x8000) &&
	       (c->reg[REG_CONFIG] & CFG_QUEUE) != CFG_QUEUE;
}

/* Bring the conversion register up to now. */
static void advance(struct chip *c)
{
	u64 now = ktime_get_ns(), one = period(c), end;

	if (now < c->started + one)
		return;
	if (continuous(c)) {
		end = c->started + div64_u64(now - c->started, one) * one;
	} else if (c->converting) {
		end = c->started + one;
		c->converting = false;
	} else {
		return;
	}
	c->reg[REG_CONVERSION] = sample(c, end - one, end);
}

/* The pin becomes active: low, unless the configuration says otherwise. */
static void pulse(struct chip *c)
{
	uint nth = READ_ONCE(loses[c->index]);
	u32 edge = c->reg[REG_CONFIG] & CFG_POLARITY ? IRQ_TYPE_EDGE_RISING : IRQ_TYPE_EDGE_FALLING;
	int irq = READ_ONCE(c->ready);

	if (!irq || !(irq_get_trigger_type(irq) & edge))
		return;
	if (nth && ++c->edges % nth == 0)
		lost[c->index]++;
	else
		irq_set_irqchip_state(irq, IRQCHIP_STATE_PENDING, true);
}

static enum hrtimer_restart conversion_end(struct hrtimer *timer)
{
	struct chip *c = container_of(timer, struct chip, timer);

	pulse(c);
	if (!continuous(c))
		return HRTIMER_NORESTART;
	hrtimer_forward_now(timer, ns_to_ktime(period(c)));
	return HRTIMER_RESTART;
}

static void start(struct chip *c)
{
	hrtimer_cancel(&c->timer);
	c->started = ktime_get_ns();
	c->converting = !continuous(c);
	if (ready_used(c))
		hrtimer_start(&c->timer, ns_to_ktime(period(c)), HRTIMER_MODE_REL);
}

static void write_register(struct chip *c, u16 value)
{
	switch (c->pointer) {
	case REG_CONVERSION:
		return;		/* read only */
	case REG_CONFIG:
		c->reg[REG_CONFIG] = value & ~CFG_OS;
		if (continuous(c) || (value & CFG_OS))
			start(c);
		else
			hrtimer_cancel(&c->timer);
		return;
	default:
		c->reg[c->pointer] = value;
	}
}

static u16 read_register(struct chip *c)
{
	u16 value = c->reg[c->pointer];

	/* OS reads 1 while no conversion is under way. */
	if (c->pointer == REG_CONFIG && !continuous(c) && !c->converting)
		value |= CFG_OS;
	return value;
}

static void message(struct chip *c, struct i2c_msg *m)
{
	int i;

	advance(c);
	if (m->flags & I2C_M_RD) {
		u16 value = read_register(c);

		for (i = 0; i < m->len; i++)
			m->buf[i] = i == 0 ? value >> 8 : i == 1 ? value & 0xff : 0xff;
		return;
	}
	if (m->len > 0)
		c->pointer = m->buf[0] & 3;
	if (m->len > 2)
		write_register(c, m->buf[1] << 8 | m->buf[2]);
}

/* The MCP4725: code and power-down bits, those of its EEPROM, under the lock. */
static struct { u16 code, mode, stored_code, stored_mode; } dac = { 0x800, 0, 0x800, 0 };

static void dac_write(const struct i2c_msg *m)
{
	int i;

	if (m->len < 2)
		return;
	dac_writes++;
	if (!(m->buf[0] & 0xc0)) {	/* fast: pairs of bytes */
		for (i = 0; i + 1 < m->len; i += 2) {
			dac.mode = m->buf[i] >> 4 & 3;
			dac.code = (m->buf[i] & 0xf) << 8 | m->buf[i + 1];
		}
		return;
	}
	if (m->len < 3 || (m->buf[0] >> 5 != 2 && m->buf[0] >> 5 != 3))
		return;
	dac.mode = m->buf[0] >> 1 & 3;
	dac.code = m->buf[1] << 4 | m->buf[2] >> 4;
	if (m->buf[0] >> 5 == 3) {
		dac.stored_mode = dac.mode;
		dac.stored_code = dac.code;
	}
}

static void dac_message(struct i2c_msg *m)
{
	const u8 all[] = {
		0xc0 | dac.mode << 1, dac.code >> 4, (dac.code & 0xf) << 4,
		dac.stored_mode << 5 | dac.stored_code >> 8, dac.stored_code & 0xff,
	};
	int i;

	if (!(m->flags & I2C_M_RD)) {
		dac_write(m);
		return;
	}
	for (i = 0; i < m->len; i++)
		m->buf[i] = all[i % ARRAY_SIZE(all)];
}

/* How long the messages take on the wire, in microseconds. */
static uint wire_us(const struct i2c_msg *msgs, int count)
{
	uint bits = 1;
	int i;

	if (!bus_hz)
		return 0;
	for (i = 0; i < count; i++)
		bits += 1 + 9 * (1 + msgs[i].len);
	return DIV_ROUND_UP(bits * 1000, bus_hz / 1000);
}

static int transfer(struct i2c_adapter *adapter, struct i2c_msg *msgs, int count)
{
	uint us = delay_us + wire_us(msgs, count);
	int i;

	transfers++;
	if (us)
		usleep_range(us, us + 5);
	if (fail_count) {
		fail_count--;
		return -fail_errno;
	}
	for (i = 0; i < count; i++) {
		uint index = msgs[i].addr - FIRST_ADDRESS;

		if (msgs[i].addr == DAC_ADDRESS && (present & DAC_PRESENT)) {
			mutex_lock(&lock);
			dac_message(&msgs[i]);
			mutex_unlock(&lock);
			continue;
		}
		if (index >= CHIPS || !(present & BIT(index)))
			return -ENXIO;
		mutex_lock(&lock);
		message(&chips[index], &msgs[i]);
		mutex_unlock(&lock);
	}
	return count;
}

static u32 functionality(struct i2c_adapter *adapter)
{
	return I2C_FUNC_I2C | I2C_FUNC_SMBUS_EMUL;
}

static const struct i2c_algorithm algorithm = {
	.master_xfer = transfer,
	.functionality = functionality,
};

static struct i2c_adapter adapter = {
	.owner = THIS_MODULE,
	.algo = &algorithm,
	.name = "kernel bench",
	.nr = 1,
};

static int set_microvolts(const char *text, const struct kernel_param *param)
{
	int values[INPUTS + 1];	/* the first one counts the others */
	struct moment *next;

	get_options(text, ARRAY_SIZE(values), values);
	if (values[0] != INPUTS)
		return -EINVAL;
	mutex_lock(&lock);
	next = &history[(latest + 1) % HISTORY];
	memcpy(next->microvolts, &values[1], sizeof(next->microvolts));
	next->from = ktime_get_ns();
	latest++;
	mutex_unlock(&lock);
	return 0;
}

static const struct kernel_param_ops microvolts_ops = { .set = set_microvolts };
module_param_cb(microvolts, &microvolts_ops, NULL, 0200);

static int set_dac(const char *text, const struct kernel_param *param)
{
	u16 code;
	int err = kstrtou16(text, 0, &code);

	if (err || code > 0xfff)
		return -EINVAL;
	mutex_lock(&lock);
	dac.code = dac.stored_code = code;
	dac.mode = dac.stored_mode = 0;
	mutex_unlock(&lock);
	return 0;
}

static int get_dac(char *text, const struct kernel_param *param)
{
	int n;

	mutex_lock(&lock);
	n = sysfs_emit(text, "%u %u\n", dac.code, dac.mode);
	mutex_unlock(&lock);
	return n;
}

static const struct kernel_param_ops dac_ops = { .set = set_dac, .get = get_dac };
module_param_cb(dac, &dac_ops, NULL, 0644);

static int named(struct gpio_chip *gc, const void *name)
{
	return !strcmp(dev_name(gpio_device_to_device(gc->gpiodev)), name);
}

/* The interrupt of a line, given by its chip's name and its number. */
static int interrupt_of(const char *name, int line)
{
	struct gpio_device *device = gpio_device_find(name, named);
	struct gpio_desc *desc;
	int irq;

	if (!device)
		return -ENOENT;
	desc = gpio_device_get_desc(device, line);
	irq = IS_ERR(desc) ? PTR_ERR(desc) : gpiod_to_irq(desc);
	gpio_device_put(device);
	return irq;
}

static int set_ready(const char *text, const struct kernel_param *param)
{
	char name[32];
	int index, line, irq = 0;

	if (sscanf(text, "%d %31s %d", &index, name, &line) != 3 || index < 0 || index >= CHIPS || line < 0)
		return -EINVAL;
	if (strcmp(name, "-")) {
		irq = interrupt_of(name, line);
		if (irq < 0)
			return irq;
	}
	WRITE_ONCE(chips[index].ready, irq);
	return 0;
}

static const struct kernel_param_ops ready_ops = { .set = set_ready };
module_param_cb(ready, &ready_ops, NULL, 0200);

static void reset(struct chip *c, int index)
{
	c->index = index;
	c->reg[REG_CONVERSION] = 0;
	c->reg[REG_CONFIG] = 0x0583;	/* reads 0x8583: idle */
	c->reg[REG_LOW] = 0x8000;
	c->reg[REG_HIGH] = 0x7fff;
	hrtimer_init(&c->timer, CLOCK_MONOTONIC, HRTIMER_MODE_REL);
	c->timer.function = conversion_end;
}

static int __init kb_adc_init(void)
{
	int i;

	for (i = 0; i < CHIPS; i++)
		reset(&chips[i], i);
	return i2c_add_numbered_adapter(&adapter);
}

static void __exit kb_adc_exit(void)
{
	int i;

	i2c_del_adapter(&adapter);
	for (i = 0; i < CHIPS; i++)
		hrtimer_cancel(&chips[i].timer);
}

module_init(kb_adc_init);
module_exit(kb_adc_exit);
MODULE_DESCRIPTION("An I2C bus with ADS1115 converters, for the kernel bench");
MODULE_LICENSE("GPL");
