/* The board with an ATmega328P at 16 MHz: pins, interrupts, and the main loop
 * that makes lines of what they gathered. Nothing is averaged.
 *
 * Pin (the hobby board's name): encoder A PC0 (A0), B PC1 (A1), index PC2 (A2);
 * indicator clock PD2 (2), data PD3 (3), request PD4 (4); kind PD5 (5), to
 * ground for the indicator that answers a request; pedal PD7 (7), to ground.
 *
 * No interrupt waits for more than the longest other one: they do not nest, and
 * the main loop masks only the indicator's while it copies a frame, and all for
 * the few cycles that a number of two or four bytes takes. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <util/atomic.h>

#include "protocol.h"

#define BAUD 115200
#define BAUD_TOL 3
#include <util/setbaud.h>

#define FRAME_GAP 4     /* ms without a clock part two frames */
#define SILENCE 500     /* ms without a frame that are told */
#define REQUEST_EVERY 5 /* ms between frames of the kind that is asked */
#define REQUEST_MAX 100 /* ms until one that did not answer is asked again */
#define PEDAL_STABLE 25 /* ms; longer than contacts bounce */
#define VERSION_EVERY 2000 /* ms; whoever begins to listen later learns it too */

static volatile int32_t count;
static volatile uint8_t edge_lost, index_passed;
static uint8_t wires; /* B,A as last seen, and the index */

ISR(PCINT1_vect)
{
	uint8_t now = PINC & 7;
	int8_t step = quadrature_steps[((wires & 3) << 2 | (now & 3)) & 15];

	if (step == QUADRATURE_LOST)
		edge_lost = 1;
	else if (step > 0)
		count++;
	else if (step < 0)
		count--;
	if (now & ~wires & 4)
		index_passed = 1;
	wires = now;
}

/* The frame that comes in. Written by the clock's interrupt, read by the main
 * loop when the clock has been still for FRAME_GAP. */
static uint8_t frame[FRAME_BYTES];
static volatile uint8_t bits, still = FRAME_GAP;
static uint8_t shifted;
static int32_t latched;
static uint8_t latched_index;

ISR(INT0_vect)
{
	uint8_t n = bits;

	if (still >= FRAME_GAP) {
		n = 0;
		latched = count; /* with the figure: now it is being sent */
		latched_index = index_passed;
		index_passed = 0;
	}
	still = 0;
	shifted >>= 1;
	if (PIND & _BV(PD3))
		shifted |= 0x80;
	n++;
	if (!(n & 7) && n <= 8 * (FRAME_BYTES - 1))
		frame[(n >> 3) - 1] = shifted;
	else if (n == BITS_ON_REQUEST)
		frame[FRAME_BYTES - 1] = shifted >> 4;
	if (n == 255)
		n = 254;
	bits = n;
}

static volatile uint16_t now_ms;

ISR(TIMER2_COMPA_vect)
{
	now_ms++;
	if (still < 255)
		still++;
}

/* Bytes on their way out. head is where the main loop writes next. */
#define OUT_SIZE 128
static char out[OUT_SIZE];
static volatile uint8_t out_head, out_tail;

ISR(USART_UDRE_vect)
{
	uint8_t tail = out_tail;

	UDR0 = out[tail];
	tail = (tail + 1) & (OUT_SIZE - 1);
	out_tail = tail;
	if (tail == out_head)
		UCSR0B &= ~_BV(UDRIE0);
}

/* send queues a whole line or none: half a line would help nobody, and the
 * next one's number tells that this is missing. */
static void send(const char *line, uint8_t length)
{
	uint8_t head = out_head, i;

	if (length > (uint8_t)((out_tail - head - 1) & (OUT_SIZE - 1)))
		return;
	for (i = 0; i < length; i++) {
		out[head] = line[i];
		head = (head + 1) & (OUT_SIZE - 1);
	}
	out_head = head;
	ATOMIC_BLOCK(ATOMIC_FORCEON)
	{
		UCSR0B |= _BV(UDRIE0);
	}
}

/* say sends words in a figure's place, with the count that was latched last:
 * lines come in the order of their counts. */
static void say(struct reading *r, const char *words)
{
	char line[LINE_MAX];

	send(line, line_words(line, r, words));
	r->number++;
	r->index = 0;
}

static void say_number(struct reading *r, const char *words, uint8_t n)
{
	char text[32];
	uint8_t i = 0;

	while ((text[i] = words[i]))
		i++;
	words_number(text, n);
	say(r, text);
}

static uint16_t clock_ms(void)
{
	uint16_t t;

	ATOMIC_BLOCK(ATOMIC_FORCEON)
	{
		t = now_ms;
	}
	return t;
}

/* take copies a frame that has ended, and returns how many bits it had; 0 for
 * none. A clock that comes meanwhile waits in its flag. */
static uint8_t take(uint8_t copy[FRAME_BYTES], struct reading *r)
{
	uint8_t n, i;

	EIMSK &= ~_BV(INT0);
	n = still >= FRAME_GAP ? bits : 0;
	if (n) {
		for (i = 0; i < FRAME_BYTES; i++)
			copy[i] = frame[i];
		r->count = latched;
		r->index = latched_index;
		bits = 0;
	}
	EIMSK |= _BV(INT0);
	return n;
}

/* latch takes the count of now, where no frame is on its way that latched one. */
static void latch(struct reading *r)
{
	ATOMIC_BLOCK(ATOMIC_FORCEON)
	{
		if (!bits) {
			r->count = count;
			r->index = index_passed;
			index_passed = 0;
		}
	}
}

static void set_up(uint8_t *expected)
{
	PORTC = _BV(PC0) | _BV(PC1) | _BV(PC2); /* pull-ups: open collectors are usual */
	PORTD = _BV(PD2) | _BV(PD3) | _BV(PD5) | _BV(PD7);
	UBRR0 = UBRR_VALUE;
#if USE_2X
	UCSR0A = _BV(U2X0);
#endif
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
	UCSR0B = _BV(TXEN0);
	OCR2A = F_CPU / 64 / 1000 - 1;
	TCCR2A = _BV(WGM21);
	TCCR2B = _BV(CS22); /* by 64 */
	TIMSK2 = _BV(OCIE2A);
	*expected = PIND & _BV(PD5) ? BITS_TWO_WIRE : BITS_ON_REQUEST;
	/* Data is good at the rising edge of the two-wire kind's clock, and at the
	 * falling one of the other's. */
	EICRA = *expected == BITS_TWO_WIRE ? _BV(ISC01) | _BV(ISC00) : _BV(ISC01);
	EIFR = _BV(INTF0);
	EIMSK = _BV(INT0);
	wires = PINC & 7;
	PCMSK1 = _BV(PCINT8) | _BV(PCINT9) | _BV(PCINT10);
	PCICR = _BV(PCIE1);
	set_sleep_mode(SLEEP_MODE_IDLE);
	sei();
}

int main(void)
{
	uint8_t expected, foot = 0, asking = 0, was_down = 0;
	uint8_t copy[FRAME_BYTES] = {0};
	char line[LINE_MAX], version[] = SAYS_VERSION "24";
	uint16_t heard, asked, told, foot_since = 0;
	struct reading r = {0};

	set_up(&expected);
	if (expected == BITS_ON_REQUEST) {
		version[sizeof version - 3] = '5';
		version[sizeof version - 2] = '2';
	}
	send(line, line_first(line, version));
	heard = asked = told = clock_ms();
	for (;;) {
		uint16_t now = clock_ms();
		uint8_t n = take(copy, &r), down;

		if (n) {
			heard = asked = now;
			asking = 0;
			if (n != expected) {
				say_number(&r, SAYS_BITS_LOST, n);
			} else if (expected == BITS_TWO_WIRE ? frame_two_wire(copy, &r.figure) : frame_on_request(copy, &r.figure)) {
				say(&r, SAYS_BITS_WRONG);
			} else {
				send(line, line_reading(line, &r));
				r.number++;
				r.index = 0;
			}
		}
		if (edge_lost) {
			edge_lost = 0;
			say(&r, SAYS_EDGE_LOST);
		}
		if ((uint16_t)(now - heard) >= SILENCE) {
			heard = now;
			latch(&r);
			say(&r, SAYS_NO_SIGNAL);
		}
#ifndef PLAIN
		if ((uint16_t)(now - told) >= VERSION_EVERY) {
			told = now;
			say(&r, version);
		}
#endif
		if (expected == BITS_ON_REQUEST) {
			if (bits && still < FRAME_GAP) {
				DDRD &= ~_BV(PD4); /* it answers: let go */
			} else if ((uint16_t)(now - asked) >= (asking ? REQUEST_MAX : REQUEST_EVERY)) {
				DDRD |= _BV(PD4); /* pull down, as an open collector */
				asked = now;
				asking = 1;
			}
		}
		down = !(PIND & _BV(PD7));
		if (down != was_down) {
			was_down = down;
			foot_since = now;
		} else if (down != foot && (uint16_t)(now - foot_since) >= PEDAL_STABLE) {
			foot = down;
			if (down)
				say(&r, SAYS_PEDAL);
		}
		/* Sleep until the next millisecond; other interrupts only serve. */
		while (now == clock_ms())
			sleep_mode();
	}
}
