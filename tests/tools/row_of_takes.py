#!/usr/bin/env python3
"""Takes one after the other in one file, with silence between: row_of_takes.py OUT.wav SECONDS TAKE.wav..."""
import sys
import wave


def main(out, seconds, *takes):
    with wave.open(takes[0], "rb") as first:
        format = first.getparams()
    silence = bytes(int(float(seconds) * format.framerate) * format.nchannels * format.sampwidth)
    with wave.open(out, "wb") as file:
        file.setparams(format)
        for take in takes:
            with wave.open(take, "rb") as one:
                if one.getparams()[:3] != format[:3]:
                    sys.exit(f"{take}: another format than {takes[0]}")
                file.writeframes(one.readframes(one.getnframes()) + silence)


if __name__ == "__main__":
    main(*sys.argv[1:])
