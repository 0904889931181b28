"""Weights as ONNX: `export.py WEIGHTS.pt OUT.onnx`. Normalisation is folded into the convolutions; the length of a take stays free."""
import sys

import torch
import torch.nn as nn

import features
import net


class Outputs(nn.Module):
    """The network with what decoding needs: onset and sustain as probabilities, the strings' evidence as logits, scratches as probabilities."""

    def __init__(self, inner):
        super().__init__()
        self.inner = inner

    def forward(self, spectra):
        notes, scratch = self.inner(spectra)
        return torch.sigmoid(notes[..., 0]), torch.sigmoid(notes[..., 1]), notes[..., 2:], torch.sigmoid(scratch)


def folded(model):
    """A copy whose batch normalisations have gone into the convolutions before them."""
    model = model.eval()
    for name, m in list(model.named_modules()):
        if isinstance(m, nn.Sequential) and len(m) == 2 and isinstance(m[1], nn.BatchNorm2d):
            fused = nn.utils.fusion.fuse_conv_bn_eval(m[0], m[1])
            parent = model.get_submodule(name.rsplit(".", 1)[0]) if "." in name else model
            setattr(parent, name.rsplit(".", 1)[-1], fused)
    return model


def load(path):
    model = net.Net()
    model.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in torch.load(path, map_location="cpu").items()})
    return model.eval()


def write(model, path):
    names = ["onset", "sustain", "strings", "scratch"]
    torch.onnx.export(Outputs(folded(model)).eval(), torch.zeros(1, 3, 64, features.BINS), path, input_names=["spectra"], output_names=names, opset_version=17,
                      dynamic_axes={"spectra": {2: "frames"}, **{n: {1: "frames"} for n in names}}, dynamo=False)


if __name__ == "__main__":
    write(load(sys.argv[1]), sys.argv[2])
