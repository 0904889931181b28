"""What the network sees: three log-frequency spectra of different length, three bins a semitone, every 256 samples at 22,050 Hz.

Recipe, exact (the Rust side computes the same; crates/take/weights/vector.json holds an example):

1. Mono, 22,050 Hz. Scale: RMS of every whole frame of 2,048 samples, hop 256, from sample 0; the 90th percentile (linear between neighbours) becomes 0.1.
2. For each window of N = 8192, 2048, 512 samples: frame k = 0..floor(samples / 256) is centred on sample 256 k (samples before the beginning and past the end are zero), Hann window
   w[n] = 0.5 - 0.5 cos(2 pi n / N) (periodic), magnitude of the DFT times 2 / sum(w), so that a sine of amplitude a gives a.
3. Bin i = 0..248 stands at MIDI m_i = 40 + (i - 1) / 3, f_i = A4 * 2^((m_i - 69) / 12), A4 being the take's pitch reference (440 where none is known).
   Weights over DFT bins j, which stand at f_j = j * 22050 / N: max(0, 1 - |f_j - f_i| / h_i), h_i = max(22050 / N, f_i * (2^(1/36) - 1)), divided by their
   sum. The bin's magnitude m is the weighted sum.
4. x = ln(1 + 2000 m) / 4. Input [1, 3, frames, 249], windows in the order 8192, 2048, 512.
"""
import numpy as np
import torch
import torch.nn.functional as F

RATE, HOP = 22050, 256
WINDOWS = (8192, 2048, 512)
BINS = 249


def weights(n, a4=440.0):
    f = a4 * 2 ** ((40 + (np.arange(BINS) - 1) / 3 - 69) / 12)
    j = np.arange(n // 2 + 1) * RATE / n
    h = np.maximum(RATE / n, f * (2 ** (1 / 36) - 1))
    w = np.maximum(0, 1 - np.abs(j[None] - f[:, None]) / h[:, None])
    return w / np.maximum(w.sum(1, keepdims=True), 1e-12)


class Features:
    def __init__(self, device, a4=440.0):
        self.w = [torch.tensor(weights(n, a4).T, dtype=torch.float32, device=device) for n in WINDOWS]
        self.window = [torch.hann_window(n, device=device) for n in WINDOWS]

    def __call__(self, y):
        """[b, samples], already scaled, as [b, 3, frames, 249]; frames = samples / 256 rounded down, plus one."""
        out = []
        for n, w, win in zip(WINDOWS, self.w, self.window):
            s = torch.stft(F.pad(y, (n // 2, n // 2)), n, HOP, window=win, center=False, return_complex=True).abs() * (2 / win.sum())
            out.append(torch.log1p(2000 * (s.transpose(1, 2) @ w)) / 4)
        return torch.stack(out, 1)


def scaled(y):
    """Step 1 for one take (numpy)."""
    y = np.asarray(y, np.float64)
    if len(y) < 2048:
        y = np.pad(y, (0, 2048 - len(y)))
    s = np.concatenate([[0], np.cumsum(y * y)])
    rms = np.sqrt(np.maximum(s[2048::HOP] - s[:-2048:HOP], 0) / 2048)
    return y * (0.1 / max(np.quantile(rms, 0.9), 1e-6))
