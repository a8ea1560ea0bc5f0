"""Trains one network, calibrates it if it is the reader, exports ONNX and figures.

usage: train.py finder|reader|half_day ASSETS OUT [--seconds 480] [--workers 8] [--seed 7]
                [--start WEIGHTS --peak 1e-3]   goes on from weights at a lower rate
                [--pause 480]                   stops after so long; called again, goes on
                [--two-lines 0.3]              share of two-line displays (finder)

Rendering runs on the CPU cores and fills a store on the GPU; training draws from the
store, so each picture is seen a few times, each time by a camera with other faults.
Tuning material (other fonts, other photos) steers nothing but the calibration
temperature and the curves.
"""

import argparse
import copy
import functools
import json
import math
import os
import sys
import threading
import time

import numpy as np
import onnx  # which torch.onnx.export asks for once all is trained
from onnx import numpy_helper
import torch
from torch.nn import functional as F
from torch.utils.data import DataLoader, IterableDataset

import camera
import halves
import scenes
import screens
from nets import Conv, Finder, fused, HalfDay, Reader
from strips import COLON, IGNORE, reader_strips, SEMICOLON, STRIP_BOTTOM, STRIP_STRIDE, STRIP_TOP, TURNED

# The thread that takes chunks in waits for the one that trains at each of them: few large ones.
CHUNK = 64
SWITCH_S = 0.0005
# Share of the store that is filled before training begins, so that the first samples are not learned by heart.
FILLED = 0.025


class Stream(IterableDataset):
    """Endless chunks of rendered samples; each worker has its own seed, another one in each part of a run."""

    def __init__(self, folder, make, seed, part=0):
        self.folder, self.make, self.seed, self.part = folder, make, seed, part

    def __iter__(self):
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self.seed, info.id if info else 0, self.part])
        assets = scenes.Assets(self.folder)
        while True:
            samples = []
            while len(samples) < CHUNK:
                try:
                    samples.extend(self.make(rng, assets))
                except np.linalg.LinAlgError:
                    continue  # an edge-on pose
            yield [torch.from_numpy(np.stack(part)) for part in zip(*samples)]


class Store:
    """A ring of samples in GPU memory, filled by a thread."""

    def __init__(self, stream, workers, room, device):
        self.part = stream.part
        # Forked here: a renderer forked by the thread below, beside one that computes, may wait for ever.
        self.chunks = iter(DataLoader(stream, batch_size=None, num_workers=workers, prefetch_factor=8))
        self.room, self.device = room, device
        self.parts, self.made, self.made_before = None, 0, 0
        self.is_open, self.fault = True, None
        # A stream of their own, or new samples would wait for every step that is queued.
        self.aside = torch.cuda.Stream() if device.type == "cuda" else None
        threading.Thread(target=self.fill, daemon=True).start()

    def fill(self):
        try:
            self.take_chunks()
        except Exception as fault:  # told by the thread that trains
            self.fault = fault

    def must_fill(self):
        """Raises what stopped the rendering, if anything did."""
        if self.fault:
            raise RuntimeError("the pictures to train on are not drawn any more") from self.fault

    def take_chunks(self):
        for chunk in self.chunks:
            if not self.is_open:
                return
            if self.parts is None:
                self.parts = [
                    torch.empty((self.room, *p.shape[1:]), dtype=half(p), device=self.device) for p in chunk
                ]
            at = self.made % self.room
            n = min(len(chunk[0]), self.room - at)
            with torch.cuda.stream(self.aside):
                for part, new in zip(self.parts, chunk):
                    part[at : at + n] = new[:n].to(self.device, dtype=part.dtype)
            if self.aside:
                self.aside.synchronize()
            self.made += n

    def draw(self, n):
        self.must_fill()
        at = torch.randint(0, min(self.made, self.room), (n,), device=self.device)
        return [p[at] for p in self.parts]


def half(tensor):
    return torch.float16 if tensor.dtype == torch.float32 else tensor.dtype


def fixed_set(folder, make, seed, count, workers):
    """The same `count` samples on every run with as many workers."""
    stream = iter(DataLoader(Stream(folder, make, seed), batch_size=None, num_workers=workers))
    chunks = [next(stream) for _ in range(count // CHUNK)]
    return [torch.cat(parts) for parts in zip(*chunks)]


# ---- finder -------------------------------------------------------------------------


def finder_input(pictures):
    return F.pixel_unshuffle(pictures / 127.5 - 1, scenes.SCENE_STRIDE)


def finder_cells(out):
    """N x 7 x H/4 x W/4 from the network's blocks of four cells."""
    return F.pixel_shuffle(out, 2)


def filmed(tune, device):
    """The tuning scenes, each with one camera's faults, the same on every run."""
    torch.manual_seed(5)
    shots = []
    for i in range(0, len(tune[0]), 64):
        x, h = tune[0][i : i + 64, None].float().to(device), tune[2][i : i + 64].to(device)
        shots.append(camera.film(x, h)[:, 0].to(torch.uint8).cpu())
    return [torch.cat(shots), tune[1]]


def finder_turn(pictures, planes):
    """Turns a whole batch by a quarter turn or more, labels with it."""
    k = int(torch.randint(0, 4, (1,)))
    pictures, planes = torch.rot90(pictures, k, (2, 3)), torch.rot90(planes, k, (2, 3)).clone()
    for _ in range(k):  # rot90 takes x to y and y to -x in picture axes
        for i in (2, 4):
            x, y = planes[:, i].clone(), planes[:, i + 1].clone()
            planes[:, i], planes[:, i + 1] = y, -x
    return pictures, planes


def finder_loss(out, planes):
    target, weight, rest = planes[:, 0], planes[:, 1], planes[:, 2:]
    logit = out[:, 0]
    p = torch.sigmoid(logit)
    focal = torch.where(target > 0.5, (1 - p) ** 1.0, p**1.0).detach() + 0.15
    bce = F.binary_cross_entropy_with_logits(logit, target, reduction="none")
    bce = (bce * weight * focal * torch.where(target > 0.5, 3.0, 1.0)).sum() / weight.sum()
    inter = (p * target * weight).sum()
    dice = 1 - (2 * inter + 1) / ((p * weight).sum() + (target * weight).sum() + 1)
    hit = (target * weight).unsqueeze(1)
    scale = torch.tensor([1.0, 1.0, 1.0, 1.0, 1.0, 2.0], device=out.device).view(1, -1, 1, 1)
    geo = (F.smooth_l1_loss(out[:, 1:], rest, reduction="none", beta=0.1) * scale * hit).sum() / (hit.sum() * 6 + 1)
    return 8 * bce + dice + 4 * geo


@torch.no_grad()
def finder_figures(net, tune, device):
    net.eval()
    hit = miss = false = quiet = 0
    turn, apart = [], []
    for i in range(0, len(tune[0]), 64):
        x, planes = tune[0][i : i + 64, None].float().to(device), tune[1][i : i + 64].to(device)
        out = finder_cells(net(finder_input(x)))
        said, target, weight = out[:, 0] > 0, planes[:, 0] > 0.5, planes[:, 1] > 0.5
        hit += (said & target & weight).sum().item()
        miss += (~said & target & weight).sum().item()
        false += (said & ~target & weight).sum().item()
        quiet += (~target & weight).sum().item()
        both = said & target
        dot = (F.normalize(out[:, 1:3], dim=1) * planes[:, 2:4]).sum(1)[both]
        turn.append((dot < 0.9).float())
        apart.append(((out[:, 6] - planes[:, 7]).abs()[both] > 0.25).float())
    turn, apart = torch.cat(turn), torch.cat(apart)
    return {"cells_found": hit / max(1, hit + miss), "false_cells": false / max(1, quiet),
            "turned_wrong": turn.mean().item() if len(turn) else 0.0,
            "middles_wrong": apart.mean().item() if len(apart) else 0.0}  # fmt: skip


def both_finder_figures(net, tune, device):
    """On the usual mix and on displays in two lines alone."""
    usual, two = tune
    return {**finder_figures(net, usual, device),
            **{f"two_lines_{k}": v for k, v in finder_figures(net, two, device).items()}}  # fmt: skip


# ---- reader -------------------------------------------------------------------------


def reader_input(strips):
    mean = strips.mean((2, 3), keepdim=True)
    return (strips - mean) / (strips.std((2, 3), keepdim=True, unbiased=False) + 6)


KINDS = 8
DIGITS = slice(KINDS, KINDS + 10)
PLACE = slice(KINDS + 10, KINDS + 12)


def reader_loss(out, kind, share, weight, place):
    out = out[:, :, 0]
    kinds, digit = out[:, :KINDS], out[:, DIGITS]
    balance = torch.tensor([0.6, 1.0, 1.5, 3.0, 2.0, 1.0, 1.0, 1.0], device=out.device)
    kind_loss = F.cross_entropy(kinds, kind.long(), weight=balance, ignore_index=IGNORE)
    log_p = F.log_softmax(digit, 1)
    digit_loss = -(share.transpose(1, 2) * log_p).sum(1)
    off = F.smooth_l1_loss(out[:, PLACE], place[:, :, :2].transpose(1, 2), reduction="none", beta=0.03)
    place_loss = (off.sum(1) * place[:, :, 2]).sum() / (place[:, :, 2].sum() + 1)
    return kind_loss + 1.5 * (digit_loss * weight).sum() / (weight.sum() + 1) + 2 * place_loss


@torch.no_grad()
def reader_outputs(net, tune, device):
    net.eval()
    outs = [net(reader_input(tune[0][i : i + 256, None].float().to(device))) for i in range(0, len(tune[0]), 256)]
    return torch.cat(outs)[:, :, 0]


@torch.no_grad()
def reader_figures(net, tune, device):
    out = reader_outputs(net, tune, device)
    kind, share, weight, place = (t.to(device).float() for t in tune[1:])
    kind = kind.long()
    sharp = (share.max(2).values > 0.95) & (weight > 0)
    right = (out[:, DIGITS].argmax(1) == share.argmax(2)) & sharp
    used = kind != IGNORE
    kind_right = (out[:, :KINDS].argmax(1) == kind) & used
    line_wrong = ((sharp & ~right).any(1)).float().mean().item()
    semi = (kind == SEMICOLON) | (kind == COLON)
    off, placed = (out[:, PLACE] - place[:, :, :2].transpose(1, 2)).abs(), place[:, :, 2] > 0
    off[:, 0] *= STRIP_BOTTOM - STRIP_TOP
    return {"digit_columns_right": (right.sum() / sharp.sum()).item(),
            "strips_without_a_wrong_column": 1 - line_wrong,
            "kind_columns_right": (kind_right.sum() / used.sum()).item(),
            "marks_right": (kind_right[semi].float().mean()).item(),
            "flipped_right": kind_right[used & (kind >= TURNED)].float().mean().item(),
            "middles_off_px": off[:, 0][placed].median().item(),
            "heights_off_log2": off[:, 1][placed].median().item()}  # fmt: skip


def temperature(net, tune, device):
    """The divisor of the digit logits that makes the tuning set likeliest."""
    out = reader_outputs(net, tune, device)
    share, weight = (t.to(device).float() for t in tune[2:4])
    logits = out[:, DIGITS].transpose(1, 2)[weight > 0]
    target = share[weight > 0]
    best = min(np.arange(0.6, 3.0, 0.02), key=lambda t: -(target * F.log_softmax(logits / t, 1)).sum(1).mean().item())
    return round(float(best), 2)


# ---- half_day -----------------------------------------------------------------------


def half_day_loss(out, target, weight):
    bce = F.binary_cross_entropy_with_logits(out[:, 0], target, reduction="none")
    return 20 * (bce * weight * torch.where(target > 0.5, 4.0, 1.0)).sum() / weight.sum()


@torch.no_grad()
def half_day_figures(net, tune, device):
    """Of pictures, by their surest cell: how many with AM or PM and how many without are taken for such."""
    net.eval()
    surest, hit, is_lettered, is_quiet = [], [], [], []
    for i in range(0, len(tune[0]), 128):
        x, target, weight = (t[i : i + 128].float().to(device) for t in tune)
        out = net(finder_input(x[:, None]))[:, 0].float()
        surest.append(torch.where(weight > 0, out, -99.0).amax((1, 2)))
        hit.append(torch.where(target > 0.5, out, -99.0).amax((1, 2)))
        is_lettered.append(target.amax((1, 2)) > 0.5)
        is_quiet.append((target.amax((1, 2)) < 0.5) & (weight.amin((1, 2)) > 0.5))
    surest, hit, is_lettered, is_quiet = map(torch.cat, (surest, hit, is_lettered, is_quiet))
    share = lambda said, of: (said & of).sum().item() / max(1, of.sum().item())
    return {f"{name}_at_{logit}": share(x > logit, of)
            for logit in (0, 2, 4) for name, x, of in (("found", hit, is_lettered), ("false", surest, is_quiet))}  # fmt: skip


def half_day_step(net, drawn):
    pictures, target, weight = (t.float() for t in drawn)
    seen = camera.light(pictures[:, None])
    seen = seen + torch.randn_like(seen) * camera.between(seen, 0, 8) * camera.chance(seen, 0.5)
    return half_day_loss(net(finder_input(seen.clamp(0, 255).round())), target, weight)


# ---- all ----------------------------------------------------------------------------


class Trainee:
    def __init__(self, name, net, store, batch, step_loss, figures, tune, device, peak=3e-3):
        self.name, self.store, self.batch = name, store, batch
        self.net = net.to(device, memory_format=torch.channels_last)
        self.step_loss, self.figures, self.tune, self.device = step_loss, figures, tune, device
        self.mean = copy.deepcopy(self.net)
        self.slow, self.fast = (
            [t for t in net.state_dict().values() if t.dtype.is_floating_point] for net in (self.mean, self.net)
        )
        self.optimiser = torch.optim.AdamW(self.net.parameters(), lr=peak, weight_decay=1e-4, fused=device.type == "cuda")
        self.peak, self.steps, self.curve, self.seen_loss = peak, 0, [], 0.0

    def step(self, progress):
        rate = self.peak * min(1, (self.steps + 1) / 300) * (0.5 * (1 + math.cos(math.pi * min(1, progress))) * 0.99 + 0.01)
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        self.net.train()
        loss = self.step_loss(self.forward, self.store.draw(self.batch))
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimiser.step()
        keep = min(0.999, self.steps / (self.steps + 20))
        with torch.no_grad():
            torch._foreach_lerp_(self.slow, self.fast, 1 - keep)
        self.steps += 1
        if self.steps % 50 == 0:
            self.seen_loss = loss.item()

    def forward(self, x):
        with torch.autocast(self.device.type, torch.bfloat16):
            return self.net(x.contiguous(memory_format=torch.channels_last)).float()

    def report(self, seconds):
        row = {"seconds": round(seconds), "steps": self.steps, "rendered": self.store.made_before + self.store.made,
               "loss": round(self.seen_loss, 4),
               **{k: round(v, 5) for k, v in self.figures(self.mean, self.tune, self.device).items()}}  # fmt: skip
        self.curve.append(row)
        print(self.name, json.dumps(row), flush=True)

    def save(self, path, seconds):
        """What `load` goes on from, after `seconds` of training."""
        state = {"net": self.net.state_dict(), "mean": self.mean.state_dict(), "optimiser": self.optimiser.state_dict(),
                 "steps": self.steps, "curve": self.curve, "seconds": seconds,
                 "rendered": self.store.made_before + self.store.made, "parts": self.store.part + 1}  # fmt: skip
        # Beside it first: a machine that is lost while it writes leaves the state before.
        torch.save(state, f"{path}.new")
        os.replace(f"{path}.new", path)

    def load(self, state):
        self.net.load_state_dict(state["net"])
        self.mean.load_state_dict(state["mean"])
        self.optimiser.load_state_dict(state["optimiser"])
        self.steps, self.curve, self.store.made_before = state["steps"], state["curve"], state["rendered"]


def export(net, example, path):
    net = fused(net).cpu().float()
    torch.onnx.export(net, example, path, input_names=["in"], output_names=["out"], opset_version=13,
                      dynamic_axes={"in": {0: "n", 2: "h", 3: "w"}}, dynamo=False)  # fmt: skip


def take_fused(net, path, run):
    """Takes a network whose batch norms were folded into its convolutions. `run` shows `net`
    a batch: each batch norm is set up from what it meets there, so that it changes nothing.

    `net` may be wider: the planes that it has more are left as they begin, and nothing that was
    there hears of them yet."""
    folded = {w.name: torch.from_numpy(numpy_helper.to_array(w).copy()) for w in onnx.load(path).graph.initializer}
    hooks = []
    with torch.no_grad():
        for name, module in net.named_modules():
            if isinstance(module, Conv):
                bias = torch.zeros(module[0].out_channels)
                take_weights(module[0].weight, folded.pop(f"{name}.0.weight"))
                take_weights(bias, folded.pop(f"{name}.0.bias"))
                hooks.append(module[1].register_forward_pre_hook(functools.partial(undo_fold, bias=bias)))
        own = net.state_dict()
        for name in folded.keys() & own.keys():
            take_weights(own[name], folded[name])
        net.train()
        run()
    for hook in hooks:
        hook.remove()


def take_weights(own, taken):
    """Into the first planes, out by in; what they have taken from planes beyond is nothing."""
    own[: len(taken)].zero_()
    own[tuple(slice(n) for n in taken.shape)].copy_(taken)


def undo_fold(norm, args, bias):
    seen = args[0].float().transpose(0, 1).flatten(1)
    mean, var = seen.mean(1), seen.var(1, unbiased=False)
    norm.running_mean.copy_(mean)
    norm.running_var.copy_(var)
    norm.weight.copy_((var + norm.eps).sqrt())
    norm.bias.copy_(mean + bias.to(mean.device))


def finder_step(net, drawn):
    pictures, planes = finder_turn(drawn[0][:, None].float(), drawn[1].float())
    return finder_loss(finder_cells(net(finder_input(camera.film(pictures, drawn[2].float())))), planes)


def cut_anew(strips, kind, shares, weight, place):
    """Most strips cut a little further along, higher, wider, taller or slanted, labels with them,
    so that none is learned by heart. Columns from beyond a strip's ends are left open."""
    n, _, height, width = strips.shape
    some = camera.chance(strips, 0.75)
    wider, taller = (torch.exp(some * camera.between(strips, -r, r)) for r in (0.15, 0.08))
    along, down, lean = (some * camera.between(strips, -r, r) for r in (30, 1.5, 0.12))
    y = torch.arange(height, device=strips.device).view(1, 1, -1, 1) + 0.5 - height / 2
    x = torch.arange(width, device=strips.device).view(1, 1, 1, -1) + 0.5 - width / 2
    from_y = ((y - down) / taller).expand(n, 1, height, width)
    from_x = (x - along) / wider + lean * from_y
    at = torch.stack([from_x[:, 0] * 2 / width, from_y[:, 0] * 2 / height], 3)
    strips = F.grid_sample(strips, at, padding_mode="border", align_corners=False)
    columns = kind.shape[1]
    middle = (torch.arange(columns, device=kind.device)[None] + 0.5) * STRIP_STRIDE - width / 2
    of = ((middle - along[:, 0, 0]) / wider[:, 0, 0] + width / 2).div(STRIP_STRIDE).floor().long()
    is_within = (of >= 0) & (of < columns)
    of = of.clamp(0, columns - 1)
    kind = torch.where(is_within, kind.gather(1, of), IGNORE)
    shares = shares.gather(1, of[:, :, None].expand(-1, -1, shares.shape[2]))
    weight = weight.gather(1, of) * is_within
    place = place.gather(1, of[:, :, None].expand(-1, -1, 3))
    tall = STRIP_BOTTOM - STRIP_TOP
    place = torch.stack([place[:, :, 0] * taller[:, 0, 0] + down[:, 0, 0] / tall,
                         place[:, :, 1] + torch.log2(taller[:, 0, 0]), place[:, :, 2] * is_within], 2)  # fmt: skip
    return strips, kind, shares, weight, place


def reader_step(net, drawn):
    strips, kind, shares, weight, place = (t.float() if t.is_floating_point() else t for t in drawn)
    strips, kind, shares, weight, place = cut_anew(strips[:, None].float(), kind, shares, weight, place)
    usual = torch.full((len(strips),), STRIP_BOTTOM - STRIP_TOP, device=strips.device)
    seen = camera.spoiled_again(camera.glare(camera.light(strips)), usual)
    seen = seen + torch.randn_like(seen) * camera.between(seen, 0, 12) * camera.chance(seen, 0.6)
    return reader_loss(net(reader_input(seen.clamp(0, 255).round())), kind, shares, weight, place)


# net, renderer, store room, tuning samples, batch, step, figures, example input
PLANS = {
    "finder": (Finder, scenes.finder_scene, 200_000, 512, 256, finder_step, both_finder_figures, (1, 16, 64, 64)),
    "reader": (Reader, reader_strips, 600_000, 2048, 512, reader_step, reader_figures, (1, 1, 32, 256)),
    "half_day": (HalfDay, halves.half_day_picture, 150_000, 4096, 256, half_day_step, half_day_figures, (1, 16, 24, 40)),
}


def main():
    p = argparse.ArgumentParser()
    p.add_argument("net", choices=PLANS)
    p.add_argument("assets")
    p.add_argument("out")
    p.add_argument("--seconds", type=float, default=480)
    p.add_argument("--workers", type=int, default=8)
    p.add_argument("--seed", type=int, default=7)
    p.add_argument("--start", help="weights to go on from: a .pt of a run, or an .onnx")
    p.add_argument("--pause", type=float, help="s after which to stop for now, with OUT/NET.state to go on from")
    p.add_argument("--peak", type=float, default=3e-3)
    p.add_argument("--two-lines", type=float, default=screens.TWO_LINES)
    args = p.parse_args()
    net, make, room, tune_count, batch, step, figures, shape = PLANS[args.net]
    if args.net == "finder":
        make = functools.partial(make, two_lines=args.two_lines)
    net = net()
    if args.start and args.start.endswith(".pt"):
        net.load_state_dict(torch.load(args.start, map_location="cpu"))
    began = time.time()
    torch.backends.cudnn.benchmark = True
    sys.setswitchinterval(SWITCH_S)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    os.makedirs(args.out, exist_ok=True)
    paused = os.path.join(args.out, f"{args.net}.state")
    before = torch.load(paused, map_location=device) if os.path.exists(paused) else None
    spent, part = (before["seconds"], before["parts"]) if before else (0.0, 0)
    tuning = os.path.join(args.assets, "tune")
    tune = fixed_set(tuning, make, 1001, tune_count, args.workers)
    if args.net == "finder":
        two = fixed_set(tuning, functools.partial(make, two_lines=1.0), 1002, tune_count, args.workers)
        tune = [filmed(tune, device), filmed(two, device)]
    torch.manual_seed(args.seed + 1000 * part)
    stream = Stream(os.path.join(args.assets, "train"), make, args.seed, part)
    store = Store(stream, args.workers, room, device)
    trainee = Trainee(args.net, net, store, batch, step, figures, tune, device, args.peak)
    while store.made < room * FILLED:
        store.must_fill()
        time.sleep(0.2)
    if before:
        trainee.load(before)
    elif args.start and args.start.endswith(".onnx"):
        take_fused(net, args.start, lambda: step(trainee.forward, store.draw(batch)))
        trainee.mean.load_state_dict(net.state_dict())
        trainee.report(time.time() - began)
    stop = min(args.seconds, spent + (args.pause or args.seconds))
    next_report = spent + time.time() - began + min(60, args.seconds / 3)
    while (seconds := spent + time.time() - began) < stop:
        trainee.step(seconds / args.seconds)
        if seconds > next_report:
            next_report = seconds + 60
            trainee.report(seconds)
            trainee.save(paused, seconds)  # what a machine that is lost leaves behind
    store.is_open = False
    trainee.report(seconds)
    if stop < args.seconds:
        trainee.save(paused, seconds)
        print(args.net, "paused after", round(seconds), "s", flush=True)
        os._exit(0)
    record = {"two_lines": args.two_lines, "goes_on_from": args.start and os.path.basename(args.start),
              "peak_rate": args.peak, "seed": args.seed, "seconds": args.seconds, "torch": torch.__version__,
              "device": torch.cuda.get_device_name() if device.type == "cuda" else "cpu",
              "curve": trainee.curve}  # fmt: skip
    if args.net == "reader":
        record["digit_temperature"] = temperature(trainee.mean, tune, device)
    torch.save(trainee.mean.state_dict(), os.path.join(args.out, f"{args.net}.pt"))
    with open(os.path.join(args.out, f"{args.net}.json"), "w") as f:
        json.dump(record, f, indent=1)
    export(trainee.mean, torch.zeros(shape), os.path.join(args.out, f"{args.net}.onnx"))
    if os.path.exists(paused):
        os.remove(paused)
    print(args.net, "done after", round(spent + time.time() - began), "s", flush=True)
    os._exit(0)  # the rendering workers need no farewell


if __name__ == "__main__":
    main()
