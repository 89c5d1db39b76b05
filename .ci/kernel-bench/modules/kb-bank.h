/* SPDX-License-Identifier: GPL-2.0 */
/*
 * kb-bank: what a bank of GPIO lines may do with its edges before the kernel sees
 * them, for the kernel bench. It comes between the kernel's GPIO simulator, or the
 * ready pins of kb-adc, and the lines' interrupts. See run for how it is built in.
 *
 * Knobs in /sys/module/kb_gpio_sim/parameters:
 *   lines        mask of the line numbers, of every bank, to which the next three apply
 *   lose_every   N: every N-th of their edges is lost (0: none)
 *   late_every   N: at every N-th of their edges the bank's interrupt is served late, and
 *   late_us      so much; edges of one line that come meanwhile become one
 *   close_us     of two edges on different lines of a bank that are no further apart than
 *                this, the later one is lost (0: none)
 *   lost, merged, lost_close   counts of each
 *
 * Whatever becomes of an edge, the line's level is right when it is read.
 */
#ifndef KB_BANK_H
#define KB_BANK_H

#include <linux/hrtimer.h>
#include <linux/irq_work.h>
#include <linux/ktime.h>
#include <linux/module.h>

static uint lines;
module_param(lines, uint, 0644);
static uint lose_every;
module_param(lose_every, uint, 0644);
static uint late_every;
module_param(late_every, uint, 0644);
static uint late_us;
module_param(late_us, uint, 0644);
static uint close_us;
module_param(close_us, uint, 0644);
static uint lost;
module_param(lost, uint, 0444);
static uint merged;
module_param(merged, uint, 0444);
static uint lost_close;
module_param(lost_close, uint, 0444);

struct kb_bank {
	struct irq_work *work;	/* what serves the bank's interrupt */
	struct hrtimer timer;
	bool late;		/* the interrupt waits for the timer */
	uint edges;		/* of the lines that the knobs apply to */
	bool began;
	u64 last;		/* ns: of the edge before */
	ulong last_line;
};

static enum hrtimer_restart kb_bank_serve(struct hrtimer *timer)
{
	struct kb_bank *b = container_of(timer, struct kb_bank, timer);

	b->late = false;
	irq_work_queue(b->work);
	return HRTIMER_NORESTART;
}

static void kb_bank_init(struct kb_bank *b, struct irq_work *work)
{
	b->work = work;
	hrtimer_init(&b->timer, CLOCK_MONOTONIC, HRTIMER_MODE_REL_HARD);
	b->timer.function = kb_bank_serve;
}

static bool kb_bank_loses(struct kb_bank *b, ulong line, bool chosen)
{
	u64 now = ktime_get_ns();
	bool near = close_us && b->began && b->last_line != line && now - b->last <= close_us * 1000ULL;

	b->began = true;
	b->last = now;
	b->last_line = line;
	if (near) {
		lost_close++;
		return true;
	}
	if (chosen && lose_every && b->edges % lose_every == 0) {
		lost++;
		return true;
	}
	return false;
}

/* An edge of a line whose interrupt asks for it. */
static void kb_bank_edge(struct kb_bank *b, ulong *pending, ulong line)
{
	bool chosen = line < 32 && (lines & (1U << line));
	ulong flags;

	local_irq_save(flags);	/* the guest has one processor */
	if (chosen)
		b->edges++;
	if (kb_bank_loses(b, line, chosen))
		goto out;
	if (test_and_set_bit(line, pending))
		merged++;
	if (b->late)
		goto out;
	if (chosen && late_every && b->edges % late_every == 0) {
		b->late = true;
		hrtimer_start(&b->timer, ns_to_ktime(late_us * 1000ULL), HRTIMER_MODE_REL_HARD);
		goto out;
	}
	irq_work_queue(b->work);
out:
	local_irq_restore(flags);
}

#endif
