/* Prints what libedf reads: T start, its fraction in 100 ns; R channel rate scale; S channel sample; A onset duration text. */
#include <stdio.h>
#include <stdlib.h>
#include <edflib.h>

int main(int argc, char **argv)
{
	static struct edf_hdr_struct h;
	if (argc < 2 || edfopen_file_readonly(argv[1], &h, EDFLIB_READ_ALL_ANNOTATIONS)) {
		fprintf(stderr, "libedf: error %d\n", h.filetype);
		return 1;
	}
	printf("T %02d:%02d:%02d %lld\n", h.starttime_hour, h.starttime_minute, h.starttime_second, h.starttime_subsecond);
	for (int c = 0; c < h.edfsignals; c++) {
		struct edf_param_struct *p = &h.signalparam[c];
		double rate = p->smp_in_datarecord / ((double)h.datarecord_duration / EDFLIB_TIME_DIMENSION);
		double scale = (p->phys_max - p->phys_min) / ((double)p->dig_max - p->dig_min);
		if (p->physdimension[0] == 'm')
			scale /= 1e3;
		if (p->physdimension[0] == 'u')
			scale /= 1e6;
		printf("R %d %.12g %.15g\n", c, rate, scale);
		int n = p->smp_in_file, *b = malloc(n * sizeof *b + 1);
		if (edfread_digital_samples(h.handle, c, n, b) != n)
			return 2;
		for (int i = 0; i < n; i++)
			printf("S %d %d\n", c, b[i]);
		free(b);
	}
	for (int i = 0; i < h.annotations_in_file; i++) {
		struct edf_annotation_struct a;
		if (edf_get_annotation(h.handle, i, &a))
			return 3;
		printf("A %.7f %s %s\n", a.onset / (double)EDFLIB_TIME_DIMENSION, a.duration[0] ? a.duration : "-1", a.annotation);
	}
	return edfclose_file(h.handle);
}
