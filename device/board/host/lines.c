/* Says on standard output what the board would say. A line of standard input is
 *   KIND COUNT INDEX NUMBER FRAME
 * KIND 24 or 52 bits, FRAME fourteen hexadecimal digits of seven bytes;
 * or    words COUNT INDEX NUMBER TEXT
 * or    first TEXT
 * or    steps, for the sixteen steps of the quadrature. */
#include <stdio.h>
#include <string.h>

#include "../firmware/protocol.h"

int main(void)
{
	char in[256], line[LINE_MAX];
	uint8_t length;

	while (fgets(in, sizeof in, stdin)) {
		struct reading r;
		uint8_t frame[FRAME_BYTES];
		int kind, index, number, i, at;
		long count;

		in[strcspn(in, "\n")] = 0;
		if (!strcmp(in, "steps")) {
			for (i = 0; i < 16; i++)
				printf("%d ", quadrature_steps[i]);
			printf("\r\n");
			continue;
		}
		if (!strncmp(in, "words ", 6)) {
			if (sscanf(in + 6, "%ld %d %d %n", &count, &index, &number, &at) != 3)
				return 2;
			r.count = count;
			r.index = index;
			r.number = number;
			length = line_words(line, &r, in + 6 + at);
			fwrite(line, 1, length, stdout);
			continue;
		}
		if (!strncmp(in, "first ", 6)) {
			length = line_first(line, in + 6);
			fwrite(line, 1, length, stdout);
			continue;
		}
		if (sscanf(in, "%d %ld %d %d %n", &kind, &count, &index, &number, &at) != 4)
			return 2;
		for (i = 0; i < FRAME_BYTES; i++) {
			unsigned byte;

			if (sscanf(in + at + 2 * i, "%2x", &byte) != 1)
				return 2;
			frame[i] = byte;
		}
		r.count = count;
		r.index = index;
		r.number = number;
		if (kind == BITS_TWO_WIRE ? frame_two_wire(frame, &r.figure) : frame_on_request(frame, &r.figure)) {
			printf("%s\r\n", SAYS_BITS_WRONG);
			continue;
		}
		length = line_reading(line, &r);
		fwrite(line, 1, length, stdout);
	}
	return 0;
}
