/* Makes a file with libedf: 10 s, 200 Hz and 50 Hz, three annotations. */
#include <stdio.h>
#include <string.h>
#include <edflib.h>

int main(int argc, char **argv)
{
	if (argc < 3)
		return 1;
	int bdf = !strcmp(argv[1], "bdf");
	int h = edfopen_file_writeonly(argv[2], bdf ? EDFLIB_FILETYPE_BDFPLUS : EDFLIB_FILETYPE_EDFPLUS, 2);
	if (h < 0)
		return 2;
	int low = bdf ? -8388608 : -32768, high = bdf ? 8388607 : 32767, bad = 0;
	const char *label[] = {"ECG II", "pressure"}, *unit[] = {"uV", "mmHg"};
	double limit[] = {3000, 150};
	int rate[] = {200, 50};
	for (int c = 0; c < 2; c++) {
		bad |= edf_set_samplefrequency(h, c, rate[c]) | edf_set_label(h, c, label[c]) | edf_set_physical_dimension(h, c, unit[c]);
		bad |= edf_set_physical_maximum(h, c, limit[c]) | edf_set_physical_minimum(h, c, -limit[c]);
		bad |= edf_set_digital_maximum(h, c, high) | edf_set_digital_minimum(h, c, low);
	}
	bad |= edf_set_startdatetime(h, 2026, 3, 12, 19, 42, 5) | edf_set_subsecond_starttime(h, 5000000);
	for (int s = 0; s < 10; s++) {
		int b[200];
		for (int i = 0; i < 200; i++)
			b[i] = 7919L * (200 * s + i) % 60001 - 30000;
		bad |= edfwrite_digital_samples(h, b);
		for (int i = 0; i < 50; i++)
			b[i] = 50 * s + i - 100;
		bad |= edfwrite_digital_samples(h, b);
	}
	bad |= edfwrite_annotation_utf8(h, 5000, -1, "start of the exercise");
	bad |= edfwrite_annotation_utf8(h, 32500, 15000, "«Lampe» bewegt");
	bad |= edfwrite_annotation_utf8(h, 99000, -1, "ende");
	return edfclose_file(h) || bad ? 3 : 0;
}
