"""Writes the sound files that tests/formats.rs reads: one synthesised signal through ffmpeg's and opus-tools' encoders.

The signal is three decaying sines and a click; tests/formats.rs has the same formula. Run in this folder; needs ffmpeg and
opusenc. Files differ a little between versions of the encoders; what the tests ask of them does not.
"""
import math
import struct
import subprocess
import wave

BURSTS = [(0.05, 440.0), (0.17, 659.0), (0.31, 330.0)]
CLICK = 0.25


def sample(n, rate):
    t = n / rate
    s = sum(0.5 * math.exp(-40 * (t - a)) * math.sin(2 * math.pi * f * (t - a)) for a, f in BURSTS if t >= a)
    return s + (0.4 if n == round(CLICK * rate) else 0.0)


def source(path, rate, seconds, channels):
    with wave.open(path, "wb") as w:
        w.setnchannels(channels)
        w.setsampwidth(3)
        w.setframerate(rate)
        for n in range(round(rate * seconds)):
            s = sample(n, rate)
            for c in range(channels):
                w.writeframesraw(struct.pack("<i", round(s * 0.5**c * 8388607))[:3])


def ffmpeg(source, *args):
    quiet = ["ffmpeg", "-y", "-v", "error", "-i", source]
    plain = ["-map_metadata", "-1", "-fflags", "+bitexact", "-flags:a", "+bitexact"]
    subprocess.run(quiet + plain + list(args), check=True)


source("/tmp/long.wav", 44100, 0.4, 2)
source("/tmp/long48.wav", 48000, 0.4, 2)
source("/tmp/short.wav", 8000, 0.1, 1)
ffmpeg("/tmp/long.wav", "-c:a", "libmp3lame", "-b:a", "128k", "lame.mp3")
# Without bitexact the tag names the encoder, and only then does it hold the delay.
subprocess.run("ffmpeg -y -v error -i /tmp/long.wav -c:a libmp3lame -b:a 128k lame.mp3", shell=True, check=True)
ffmpeg("/tmp/long.wav", "-c:a", "libmp3lame", "-b:a", "96k", "-ar", "22050", "-write_xing", "0", "untagged.mp3")
ffmpeg("/tmp/long.wav", "-c:a", "aac", "-b:a", "96k", "aac.m4a")
ffmpeg("/tmp/long.wav", "-c:a", "aac", "-b:a", "96k", "-movflags", "+faststart", "front.m4a")
ffmpeg("/tmp/long.wav", "-c:a", "aac", "-b:a", "96k", "-f", "adts", "adts.aac")
ffmpeg("/tmp/short.wav", "-c:a", "alac", "alac.m4a")
ffmpeg("/tmp/long.wav", "-c:a", "libvorbis", "-q:a", "3", "vorbis.ogg")
ffmpeg("/tmp/long.wav", "-c:a", "libopus", "-b:a", "96k", "ffmpeg.opus")
subprocess.run("opusenc --quiet --serial 1 --bitrate 96 /tmp/long48.wav opusenc.opus", shell=True, check=True)
ffmpeg("/tmp/short.wav", "-c:a", "flac", "-sample_fmt", "s16", "s16.flac")
ffmpeg("/tmp/short.wav", "-c:a", "flac", "-sample_fmt", "s32", "s24.flac")
ffmpeg("/tmp/short.wav", "-c:a", "flac", "-sample_fmt", "s16", "-f", "ogg", "flac.oga")
for name, codec in [("u8", "pcm_u8"), ("s16", "pcm_s16le"), ("s24", "pcm_s24le"), ("s32", "pcm_s32le"),
                    ("f32", "pcm_f32le"), ("f64", "pcm_f64le"), ("alaw", "pcm_alaw"), ("adpcm", "adpcm_ms")]:
    ffmpeg("/tmp/short.wav", "-c:a", codec, name + ".wav")
ffmpeg("/tmp/short.wav", "-c:a", "pcm_s16le", "-rf64", "always", "rf64.wav")
subprocess.run("ffmpeg -y -v error -i /tmp/short.wav -c:a pcm_s16le -f wav - > streamed.wav", shell=True, check=True)
