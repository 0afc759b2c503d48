"""The two nets: one finds lines of text, one reads a line."""

import numpy as np
import torch
from torch import nn


def unit(i, o, k, stride=1, groups=1, dilation=1, padding=None):
    padding = dilation * (k // 2) if padding is None else padding
    return nn.Sequential(nn.Conv2d(i, o, k, stride, padding, groups=groups, dilation=dilation, bias=False),
                         nn.BatchNorm2d(o))


class Step(nn.Module):
    """Depthwise 3 x 3, then 1 x 1, added to the input."""

    def __init__(self, channels, dilation):
        super().__init__()
        self.deep = unit(channels, channels, 3, groups=channels, dilation=dilation)
        self.mix = unit(channels, channels, 1)

    def forward(self, x):
        return x + torch.relu(self.mix(torch.relu(self.deep(x))))


class Finder(nn.Module):
    """RGB / 255 - 0.5 to 11 maps at an eighth: text, distances to the two long edges / 16, eight directions."""

    def __init__(self, width=32):
        super().__init__()
        self.stem = unit(3, 16, 4, stride=4, padding=0)
        self.second = unit(16, width, 2, stride=2, padding=0)
        self.steps = nn.ModuleList([Step(width, d) for d in (1, 2, 4, 2, 1)])
        self.out = nn.Conv2d(width, 11, 1)

    def forward(self, x):
        x = torch.relu(self.second(torch.relu(self.stem(x))))
        for step in self.steps:
            x = step(x)
        return self.out(x)


class Reader(nn.Module):
    """Normalised RGB line of 24 rows to log odds of 45 symbols (0 = none) every second column."""

    def __init__(self, symbols=45):
        super().__init__()
        self.a = unit(3, 20, 3)
        self.b = unit(20, 40, 3)
        self.c = unit(40, 64, 3)
        self.d = unit(64, 80, 3)
        self.e = nn.Sequential(nn.Conv2d(80, 128, (3, 1), bias=False), nn.BatchNorm2d(128))
        self.f, self.g, self.h, self.i, self.j, self.k = (
            nn.Sequential(nn.Conv2d(128, 128, (1, 5), padding=(0, 2 * d), dilation=(1, d), bias=False), nn.BatchNorm2d(128))
            for d in (1, 1, 1, 2, 4, 8))
        self.drop = nn.Dropout(0.1)
        self.out = nn.Conv2d(128, symbols, 1)

    def forward(self, x):
        pool = nn.functional.max_pool2d
        x = pool(torch.relu(self.a(x)), 2)
        x = pool(torch.relu(self.b(x)), (2, 1))
        x = pool(torch.relu(self.c(x)), (2, 1))
        x = torch.relu(self.d(x))
        x = torch.relu(self.e(x))
        for step in (self.f, self.g, self.h, self.i, self.j, self.k):
            x = x + torch.relu(step(x))
        return self.out(self.drop(x))[:, :, 0, :]


def folded(net):
    """Weights and biases by name, batch normalisation folded in (Ioffe and Szegedy, 2015, section 3.1)."""
    out, state = {}, dict(net.named_modules())
    for name, module in state.items():
        if not isinstance(module, nn.Conv2d):
            continue
        weight = module.weight.detach().double()
        bias = module.bias.detach().double() if module.bias is not None else None
        key = name
        if name.endswith(".0"):
            key = name[:-2]
            norm = state[key + ".1"]
            gain = norm.weight.detach().double() / torch.sqrt(norm.running_var.double() + norm.eps)
            weight = weight * gain[:, None, None, None]
            bias = norm.bias.detach().double() - norm.running_mean.double() * gain
        out[key + ".weight"] = weight.float().cpu().numpy()
        out[key + ".bias"] = bias.float().cpu().numpy()
    return out


def load_folded(net, path):
    """Weights as the library reads them (`export.py`) back into `net`; batch normalisation does nothing then."""
    numbers = torch.from_numpy(np.fromfile(path, "<f2").astype(np.float32))
    modules, at = dict(net.named_modules()), 0

    def take(target):
        nonlocal at
        target.data.copy_(numbers[at:at + target.numel()].view_as(target))
        at += target.numel()

    for name, module in modules.items():
        if not isinstance(module, nn.Conv2d):
            continue
        take(module.weight)
        if module.bias is not None:
            take(module.bias)
            continue
        norm = modules[name[:-2] + ".1"]
        take(norm.bias)
        norm.weight.data.fill_(1)
        norm.running_mean.zero_()
        norm.running_var.fill_(1 - norm.eps)
    assert at == len(numbers)


def measure_norms(net, run):
    """Sets the means and spreads of batch normalisation from `run`, which applies `net`; its answers stay."""
    seen = {}
    norms = [module for module in net.modules() if isinstance(module, nn.BatchNorm2d)]

    def keep(module, inputs):
        value = inputs[0].detach()
        seen[module] = value.mean((0, 2, 3)), value.var((0, 2, 3))

    hooks = [norm.register_forward_pre_hook(keep) for norm in norms]
    net.eval()
    with torch.no_grad():
        run()
    for hook in hooks:
        hook.remove()
    for norm in norms:
        mean, spread = seen[norm]
        norm.bias.data += mean
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(spread)
        norm.weight.data.copy_((spread + norm.eps).sqrt())
    net.train()
