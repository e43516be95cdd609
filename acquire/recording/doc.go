// Package recording stores signals as EDF+ or BDF+ while they come in, and
// reads them and other people's files back.
//
// Read are EDF, EDF+, BDF and BDF+ (Kemp 1992; Kemp & Olivan 2003; continuous
// and discontinuous), WAV with RF64, CSV (RFC 4180 and looser), and
// PhysioNet records (a .hea header beside its signal files), each also
// gzip-compressed. What is written, and how a file cut short is
// read, is in FORMAT.md.
//
// Positions are int64 sample indices from the start of the file, and index
// divided by rate is time: stretches that were not recorded count too and read
// as acquire.MissingCount. Counts are as stored; volts come from
// acquire.Channel. A File is safe for concurrent use, a Writer is not.
package recording
