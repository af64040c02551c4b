#include "protocol.h"

/* Going up the pairs B,A follow as 00 01 11 10. */
const int8_t quadrature_steps[16] = {
	0, +1, -1, QUADRATURE_LOST,
	-1, 0, QUADRATURE_LOST, +1,
	+1, QUADRATURE_LOST, 0, -1,
	QUADRATURE_LOST, -1, +1, 0,
};

/* 24 bits, the lowest first: 20 of a magnitude, the sign, two of nothing, and
 * the unit. A count is 0.01 mm or 0.0005 in. No spindle goes further than half
 * a metre, so a larger figure is a fault. */
int frame_two_wire(const uint8_t frame[FRAME_BYTES], struct figure *f)
{
	int32_t n = frame[0] | (uint16_t)frame[1] << 8 | (uint32_t)(frame[2] & 0x0F) << 16;
	uint8_t flags = frame[2] >> 4;

	if (flags & 6 || n > 50000)
		return -1;
	f->inch = flags >> 3;
	f->decimals = 2;
	if (f->inch) {
		n *= 5;
		f->decimals = 4;
	}
	f->digits = flags & 1 ? -n : n;
	return 0;
}

/* Thirteen nibbles, the lowest bit of each first: four of all ones, the sign (0
 * or 8), six decimal digits from the highest, the digits behind the point, and
 * the unit (0 millimetres, 1 inches). */
int frame_on_request(const uint8_t frame[FRAME_BYTES], struct figure *f)
{
	uint8_t nibble[13], i;
	int32_t n = 0;

	for (i = 0; i < 13; i++)
		nibble[i] = i & 1 ? frame[i >> 1] >> 4 : frame[i >> 1] & 0x0F;
	for (i = 0; i < 4; i++)
		if (nibble[i] != 0x0F)
			return -1;
	if (nibble[4] & 7 || nibble[11] > 5 || nibble[12] > 1)
		return -1;
	for (i = 5; i < 11; i++) {
		if (nibble[i] > 9)
			return -1;
		n = n * 10 + nibble[i];
	}
	f->digits = nibble[4] ? -n : n;
	f->decimals = nibble[11];
	f->inch = nibble[12];
	return 0;
}

/* put_number writes n / 10^decimals with at least one digit before the point. */
static char *put_number(char *to, int32_t n, uint8_t decimals)
{
	char digits[10];
	uint8_t i = 0;
	uint32_t left = n < 0 ? 0 - (uint32_t)n : (uint32_t)n;

	if (n < 0)
		*to++ = '-';
	do {
		digits[i++] = '0' + left % 10;
		left /= 10;
	} while (left || i <= decimals);
	while (i) {
		if (i == decimals)
			*to++ = '.';
		*to++ = digits[--i];
	}
	return to;
}

/* put_check ends a line: the exclusive or of all between $ and *. */
static uint8_t put_check(char *line, char *to)
{
	static const char hex[16] = {'0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'A', 'B', 'C', 'D', 'E', 'F'};
	uint8_t check = 0;
	char *c;

	for (c = line + 1; c < to; c++)
		check ^= (uint8_t)*c;
	*to++ = '*';
	*to++ = hex[check >> 4];
	*to++ = hex[check & 0x0F];
	*to++ = '\r';
	*to++ = '\n';
	return to - line;
}

/* put_head begins a line with its count. */
static char *put_head(char *to, const struct reading *r)
{
	*to++ = '$';
	to = put_number(to, r->count, 0);
#ifndef PLAIN
	if (r->index)
		*to++ = 'I';
#endif
	*to++ = ',';
	return to;
}

/* put_end ends a line with its number and its check. */
static uint8_t put_end(char *line, char *to, const struct reading *r)
{
#ifndef PLAIN
	*to++ = ',';
	to = put_number(to, r->number, 0);
#else
	(void)r;
#endif
	return put_check(line, to);
}

static char *put_words(char *to, const char *words)
{
	uint8_t left = 30;

	while (*words && left--)
		*to++ = *words++;
	return to;
}

uint8_t line_reading(char line[LINE_MAX], const struct reading *r)
{
	char *to = put_head(line, r);

	to = put_number(to, r->figure.digits, r->figure.decimals);
	*to++ = r->figure.inch ? 'i' : 'm';
	*to++ = r->figure.inch ? 'n' : 'm';
	return put_end(line, to, r);
}

uint8_t line_words(char line[LINE_MAX], const struct reading *r, const char *words)
{
#ifdef PLAIN
	(void)r;
	return line_first(line, words);
#else
	return put_end(line, put_words(put_head(line, r), words), r);
#endif
}

uint8_t line_first(char line[LINE_MAX], const char *words)
{
	line[0] = '$';
	return put_check(line, put_words(line + 1, words));
}

void words_number(char *words, uint8_t n)
{
	while (*words)
		words++;
	*put_number(words, n, 0) = 0;
}
