/* A bus device on a serial line, by libmodbus: numbers of the types and orders
 * that it has functions for. Says where each stands, a JSON object a line, then
 * "ready".
 *
 *   slave TTY
 *
 * Holding register 900 takes 450 ms to answer and holds the seconds since the
 * start in milliseconds, as an int32, taken when it begins to; 910 fails. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <modbus.h>

#define REGISTERS 1000
#define LATE 900
#define FAILS 910

static void here(const char *table, const char *order, const char *type, int at, double value)
{
	printf("{\"table\":\"%s\",\"order\":\"%s\",\"type\":\"%s\",\"register\":%d,\"value\":%.9g}\n", table, order, type, at, value);
}

static void floats(uint16_t *r, int low_first, int swapped, float (*read)(const uint16_t *))
{
	float f = -12.7f;
	uint32_t bits;
	int i;

	memcpy(&bits, &f, sizeof bits);
	for (i = 0; i < 2; i++) {
		uint16_t word = bits >> (i == low_first ? 16 : 0);

		r[i] = swapped ? word << 8 | word >> 8 : word;
	}
	if (read(r) != f) {
		fprintf(stderr, "the library reads %g\n", read(r));
		exit(1);
	}
}

static void numbers(const char *table, uint16_t *r)
{
	r[0] = (uint16_t)-1234;
	here(table, "ABCD", "int16", 0, -1234);
	r[1] = 60001;
	here(table, "ABCD", "uint16", 1, 60001);
	MODBUS_SET_INT32_TO_INT16(r, 2, -123456789);
	here(table, "ABCD", "int32", 2, -123456789);
	MODBUS_SET_INT32_TO_INT16(r, 4, 4000000001u);
	here(table, "ABCD", "uint32", 4, 4000000001.0);
	/* The words are laid out here, and the library must read them alike: its
	 * functions that set a float swap the bytes of a word on this machine. */
	floats(r + 6, 0, 0, modbus_get_float_abcd);
	here(table, "ABCD", "float32", 6, -12.7);
	floats(r + 8, 1, 0, modbus_get_float_cdab);
	here(table, "CDAB", "float32", 8, -12.7);
	floats(r + 10, 0, 1, modbus_get_float_badc);
	here(table, "BADC", "float32", 10, -12.7);
	floats(r + 12, 1, 1, modbus_get_float_dcba);
	here(table, "DCBA", "float32", 12, -12.7);
}

static long long milliseconds(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * 1000LL + t.tv_nsec / 1000000;
}

int main(int argc, char **argv)
{
	modbus_t *line;
	modbus_mapping_t *map = modbus_mapping_new(0, 0, REGISTERS, REGISTERS);
	uint8_t query[MODBUS_RTU_MAX_ADU_LENGTH];
	long long began = milliseconds();

	if (argc != 2 || !map || !(line = modbus_new_rtu(argv[1], 115200, 'N', 8, 1)))
		return 2;
	modbus_set_slave(line, 17);
	if (modbus_connect(line)) {
		fprintf(stderr, "%s\n", modbus_strerror(errno));
		return 1;
	}
	numbers("holding", map->tab_registers);
	numbers("input", map->tab_input_registers);
	puts("ready");
	fflush(stdout);
	for (;;) {
		int length = modbus_receive(line, query), at;

		if (length == 0) /* for another device */
			continue;
		if (length < 0 && (errno == EMBBADCRC || errno == ETIMEDOUT))
			continue;
		if (length < 0)
			return 0;
		at = query[2] << 8 | query[3];
		if (at == FAILS) {
			modbus_reply_exception(line, query, MODBUS_EXCEPTION_SLAVE_OR_SERVER_FAILURE);
			continue;
		}
		if (at == LATE) {
			MODBUS_SET_INT32_TO_INT16(map->tab_registers, LATE, milliseconds() - began);
			usleep(450000);
		}
		modbus_reply(line, query, length, map);
	}
}
