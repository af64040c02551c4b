/* What the board says and understands, apart from any pin, so that another
 * microcontroller is another board.c and the same protocol.c. Plain C99, no
 * library: the host's compiler builds it for the tests too.
 *
 * How indicators clock a figure out is common practice; there is no published
 * source. What is taken for granted is said at each function. */
#ifndef PROTOCOL_H
#define PROTOCOL_H

#include <stdint.h>

/* The first line, with the kind of indicator behind it: LOBESCRIBE BOARD 2 BITS 24.
 * 2: words are numbered as figures are, and the version is said again and again. */
#define SAYS_VERSION "LOBESCRIBE BOARD 2 BITS "

/* The two kinds of indicators, by how many bits they send. */
#define BITS_TWO_WIRE 24
#define BITS_ON_REQUEST 52
#define FRAME_BYTES 7 /* bit n of a frame is bit n%8 of byte n/8 */

/* What is said in a figure's place. */
#define SAYS_NO_SIGNAL "NO SIGNAL"   /* no frame for half a second */
#define SAYS_BITS_LOST "BITS LOST "  /* a frame of some other number of bits, which follows */
#define SAYS_BITS_WRONG "BITS WRONG" /* bits that no figure has */
#define SAYS_EDGE_LOST "EDGE LOST"   /* both wires of the encoder at once */
#define SAYS_PEDAL "PEDAL"           /* pressed */

struct figure {
	int32_t digits;   /* the figure without its point */
	uint8_t decimals; /* digits behind the point */
	uint8_t inch;     /* 1 inches, 0 millimetres */
};

/* Both return 0, or -1 for bits that no figure has; *f is then not touched. */
int frame_two_wire(const uint8_t frame[FRAME_BYTES], struct figure *f);
int frame_on_request(const uint8_t frame[FRAME_BYTES], struct figure *f);

/* The longest line: $-2147483648I, thirty characters, 255*FF CR LF. */
#define LINE_MAX 56

struct reading {
	int32_t count;  /* encoder edges, as latched with the figure */
	uint8_t index;  /* 1 the index was passed since the count before */
	uint8_t number; /* of the line, 0 to 255 and round again */
	struct figure figure;
};

/* Both write a whole line, CR LF with it, and return its length. */
uint8_t line_reading(char line[LINE_MAX], const struct reading *r);
uint8_t line_words(char line[LINE_MAX], const struct reading *r, const char *words); /* at most 30 characters */
/* What a board says first, before there is any count: words alone. */
uint8_t line_first(char line[LINE_MAX], const char *words);
/* Appends a number to words that have room for it. */
void words_number(char *words, uint8_t n);

/* quadrature_steps[before << 2 | now], each a pair B,A of levels: +1, -1, 0, or
 * QUADRATURE_LOST where both wires changed, so that nobody knows which way.
 * A leads B as the count grows. */
#define QUADRATURE_LOST 2
extern const int8_t quadrature_steps[16];

#endif
