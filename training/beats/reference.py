"""Prints what the network answers to a made-up input, for the test in `pulse.rs`: python3 reference.py STATE WEIGHTS"""
import sys

import numpy as np
import torch

from train import ANSWERS, CHANNELS, Pulse, spread

state = torch.load(sys.argv[1], map_location="cpu")
model = Pulse(len(state["first.bias"]))
# As the weights' file holds them: halves.
model.load_state_dict({k: v.half().float() for k, v in state.items()})
model.eval()
scale = torch.tensor(np.fromfile(sys.argv[2], "<f2")[:2 * CHANNELS].astype("<f4")).view(2, 1, CHANNELS, 1)
# Strokes every 22 frames (117 a minute), every fourth with more of the low bands.
x = np.full((700, CHANNELS), 0.1, "<f4")
x[:, 16:20], x[:, 20:] = 2.0, 0.02
x[::22, :16] = 6.0
x[::88, :8] = 9.0
x = torch.tensor(x.T[None])
with torch.no_grad():
    answer = model((spread(x) - scale[0]) / scale[1])[0]
y, meters = torch.sigmoid(answer[:ANSWERS]).numpy(), torch.softmax(answer[ANSWERS:], 0).mean(1)
for frame in (0, 22, 341, 352, 353, 699):
    print(frame, *(f"{v:.5f}" for v in y[:, frame]))
print("meters", *(f"{v:.5f}" for v in meters))
