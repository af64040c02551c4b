/* Runs the board's firmware on an emulated microcontroller (libsimavr), moves
 * its pins as a file says, and writes what it says.
 *
 *   emulator FIRMWARE.elf STIMULUS >WHAT-IT-SAID
 *
 * A line of the stimulus is "CYCLE PIN LEVEL", in order, with the pins of board.c
 * by letters: A, B, Z of the encoder, C clock and D data of the indicator, K the
 * kind, P the pedal. Those of cycle 0 hold before the start. "CYCLE F FRAME"
 * sets the fourteen digits of the frame that an indicator of the kind that is
 * asked answers with; it takes it BIT_CYCLES after the request. "CYCLE E 0" ends.
 *
 * Said are "b CYCLE BYTE" when the last bit of a byte has left, "l CYCLE" when
 * the asked kind takes its figure, and at the end "s NAME VALUE". */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_interrupts.h>

#define FREQUENCY 16000000
#define BYTE_CYCLES (10 * 8 * 17) /* ten bits at 16 MHz / 8 / (16 + 1) */
#define BIT_CYCLES 3200           /* 200 us */
#define REQUEST_PIN 4
#define UART 19 /* vector of the empty data register */

static avr_t *avr;
static FILE *stimulus;
static int ended;

static struct pin { char name, port; int bit; } pins[] = {
	{'A', 'C', 0}, {'B', 'C', 1}, {'Z', 'C', 2}, {'C', 'D', 2}, {'D', 'D', 3}, {'K', 'D', 5}, {'P', 'D', 7},
};

static struct event { unsigned long long at; char what; char value[32]; } next;

static void fail(const char *what)
{
	fprintf(stderr, "%s\n", what);
	exit(1);
}

static int read_event(void)
{
	return fscanf(stimulus, "%llu %c %31s", &next.at, &next.what, next.value) == 3;
}

/* Interrupts: how long each waited and ran. */
static struct vector { int number; const char *name; avr_cycle_count_t raised, began, worst, ran, longest; unsigned long times; } vectors[] = {
	{.number = 1, .name = "clock"}, {.number = 4, .name = "encoder"}, {.number = 7, .name = "tick"}, {.number = UART, .name = "uart"},
};

static void on_running(struct avr_irq_t *irq, uint32_t value, void *param)
{
	struct vector *v = param;

	(void)irq;
	if (value) {
		v->began = avr->cycle;
		v->times++;
		/* The uart's flag stands ready also while nothing is to be sent. */
		if (v->number != UART && v->raised && v->began - v->raised > v->worst)
			v->worst = v->began - v->raised;
		v->raised = 0;
	} else if (v->began) {
		avr_cycle_count_t ran = avr->cycle - v->began;

		v->ran += ran;
		if (ran > v->longest)
			v->longest = ran;
		v->began = 0;
	}
}

static void on_pending(struct avr_irq_t *irq, uint32_t value, void *param)
{
	struct vector *v = param;

	(void)irq;
	if (value && !v->raised)
		v->raised = avr->cycle;
}

/* set moves a pin, and keeps it there when the firmware writes its port. */
static void set(char name, int level)
{
	static uint8_t mask[2], value[2];
	size_t i;

	for (i = 0; i < sizeof pins / sizeof *pins; i++) {
		struct pin *p = &pins[i];
		int port = p->port - 'C';

		if (p->name != name)
			continue;
		mask[port] |= 1 << p->bit;
		value[port] = (value[port] & ~(1 << p->bit)) | level << p->bit;
		avr_ioport_external_t e = {.name = p->port, .mask = mask[port], .value = value[port]};
		avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(p->port), &e);
		avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(p->port), p->bit), level);
		return;
	}
	fail("the stimulus names a pin that there is not");
}

/* The indicator that is asked: 52 bits, data good at the clock's falling edge. */
static uint8_t figure[7], answer[7];
static int half = -1;

static avr_cycle_count_t clock_out(avr_t *a, avr_cycle_count_t when, void *param)
{
	int bit = half / 2;

	(void)a, (void)param;
	if (half == 0) {
		memcpy(answer, figure, sizeof answer);
		printf("l %llu\n", (unsigned long long)avr->cycle);
	}
	if (bit == 52) {
		half = -1;
		return 0;
	}
	if (half % 2 == 0) {
		set('D', answer[bit / 8] >> (bit % 8) & 1);
		set('C', 0);
	} else {
		set('C', 1);
	}
	half++;
	return when + BIT_CYCLES / 2;
}

static void on_direction(struct avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq, (void)param;
	if (value >> REQUEST_PIN & 1 && half < 0) {
		half = 0;
		avr_cycle_timer_register(avr, BIT_CYCLES, clock_out, NULL);
	}
}

static void happens(void)
{
	if (next.what == 'E') {
		ended = 1;
	} else if (next.what == 'F') {
		int i;

		for (i = 0; i < 7; i++) {
			unsigned byte;

			if (sscanf(next.value + 2 * i, "%2x", &byte) != 1)
				fail("the stimulus has a frame that is none");
			figure[i] = byte;
		}
	} else {
		set(next.what, next.value[0] == '1');
	}
}

static avr_cycle_count_t play(avr_t *a, avr_cycle_count_t when, void *param)
{
	(void)a, (void)param;
	do {
		happens();
		if (ended || !read_event())
			return ended = 1, 0;
	} while (next.at <= when);
	return next.at;
}

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq, (void)param;
	printf("b %llu %u\n", (unsigned long long)(avr->cycle + BYTE_CYCLES), value & 0xFF);
}

static avr_cycle_count_t slept;

static void sleeps(avr_t *a, avr_cycle_count_t how_long)
{
	(void)a;
	slept += how_long + 1; /* no time passes outside */
}

int main(int argc, char **argv)
{
	elf_firmware_t firmware;
	uint32_t flags = 0;
	size_t i;

	setvbuf(stdout, NULL, _IOLBF, 0); /* somebody may listen while it runs */
	memset(&firmware, 0, sizeof firmware);
	if (argc != 3 || elf_read_firmware(argv[1], &firmware) || !(stimulus = fopen(argv[2], "r")))
		fail("emulator FIRMWARE.elf STIMULUS");
	firmware.frequency = FREQUENCY;
	if (!(avr = avr_make_mcu_by_name("atmega328p")))
		fail("this libsimavr knows no atmega328p");
	avr_init(avr);
	avr->log = LOG_ERROR;
	avr_load_firmware(avr, &firmware);
	avr->frequency = FREQUENCY;
	avr->sleep = sleeps;
	avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_DIRECTION_ALL), on_direction, NULL);
	for (i = 0; i < sizeof vectors / sizeof *vectors; i++) {
		avr_irq_t *irq = avr_get_interrupt_irq(avr, vectors[i].number);

		if (!irq)
			fail("this libsimavr tells nothing of interrupts");
		avr_irq_register_notify(irq + AVR_INT_IRQ_PENDING, on_pending, &vectors[i]);
		avr_irq_register_notify(irq + AVR_INT_IRQ_RUNNING, on_running, &vectors[i]);
	}
	do {
		if (!read_event())
			fail("the stimulus is empty");
		if (next.at == 0)
			happens();
	} while (next.at == 0);
	avr_cycle_timer_register(avr, next.at, play, NULL);
	while (!ended) {
		int state = avr_run(avr);

		if (state == cpu_Done || state == cpu_Crashed)
			fail("the firmware crashed");
	}
	for (i = 0; i < sizeof vectors / sizeof *vectors; i++) {
		struct vector *v = &vectors[i];

		printf("s %s-times %lu\ns %s-worst-wait %llu\ns %s-longest %llu\ns %s-ran %llu\n", v->name, v->times, v->name,
			(unsigned long long)v->worst, v->name, (unsigned long long)v->longest, v->name, (unsigned long long)v->ran);
	}
	printf("s cycles %llu\ns slept %llu\n", (unsigned long long)avr->cycle, (unsigned long long)slept);
	return 0;
}
