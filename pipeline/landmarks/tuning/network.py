"""A pose-landmark .tflite file <-> the same network in PyTorch, and trained weights back into the same file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from pipeline.errors import MatsideError

_NUMPY = {0: np.float32, 1: np.float16, 2: np.int32}  # tflite.TensorType
_SAME, _NO_ACTIVATION, _RELU, _RELU6 = 0, 0, 1, 3
POINTS, PERSON, MASK, HEATMAP, WORLD = range(5)  # the network's outputs, in the file's order


@dataclass(frozen=True)
class _Constant:
    """Where a weight lives in the file, and how torch orders its axes."""

    offset: int
    dtype: type
    shape: tuple[int, ...]
    order: tuple[int, ...] | None


@dataclass(frozen=True)
class _Step:
    inputs: tuple[int, ...]
    output: int
    run: Callable  # (parameters, *inputs) -> output, channels first


def _same_padding(size: int, kernel: int, stride: int, dilation: int = 1) -> tuple[int, int]:
    total = max((-(-size // stride) - 1) * stride + (kernel - 1) * dilation + 1 - size, 0)
    return total // 2, total - total // 2


def _activate(y: torch.Tensor, code: int) -> torch.Tensor:
    if code == _NO_ACTIVATION:
        return y
    return F.relu(y) if code == _RELU else F.relu6(y)


def _resize_from_corner(x: torch.Tensor, size: tuple[int, int]) -> torch.Tensor:
    """Bilinear resize whose source position is plainly index * in / out, as TensorFlow 1 did it."""
    for dim, target in ((2, size[0]), (3, size[1])):
        n = x.shape[dim]
        at = torch.arange(target, device=x.device, dtype=torch.float32) * (n / target)
        low = at.floor().long().clamp(max=n - 1)
        share = (at - low).to(x.dtype).reshape([-1 if d == dim else 1 for d in range(4)])
        x = x.index_select(dim, low) * (1 - share) + x.index_select(dim, (low + 1).clamp(max=n - 1)) * share
    return x


class LandmarkNet(nn.Module):
    """The graph of a landmark file. Parameters are named by their buffer in the file ("b12"), so that `written` can put them back."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        import tflite

        self.file = Path(path).read_bytes()
        if self.file[4:8] != b"TFL3":
            raise MatsideError(f"{path}: not a TFLite file; expected a pose-landmark model such as pose_landmark_full.tflite.")
        self._model = tflite.Model.GetRootAsModel(self.file, 0)
        self._graph = self._model.Subgraphs(0)
        self._names = {v: k for k, v in vars(tflite.BuiltinOperator).items() if isinstance(v, int)}
        self._dequantised: dict[int, int] = {}
        self.constants: dict[str, _Constant] = {}
        self.steps: list[_Step] = []
        self.convolution_of: dict[int, tuple[str, str | None]] = {}  # a step's output -> its weight and bias
        for k in range(self._graph.OperatorsLength()):
            self._read_operator(tflite, self._graph.Operators(k), path)
        self.input = int(self._graph.Inputs(0))
        self.outputs = [int(i) for i in self._graph.OutputsAsNumpy()]
        self.channels_last = True
        del self._model, self._graph

    # ---- reading ----

    def _shape(self, tensor: int) -> list[int]:
        t = self._graph.Tensors(tensor)
        return [int(v) for v in t.ShapeAsNumpy()] if t.ShapeLength() else []

    def _constant(self, tensor: int) -> tuple[np.ndarray, int, int]:
        """The stored array, its buffer's number and its offset in the file."""
        t = self._graph.Tensors(tensor)
        stored = self._model.Buffers(t.Buffer()).DataAsNumpy()
        offset = stored.__array_interface__["data"][0] - np.frombuffer(self.file, np.uint8).__array_interface__["data"][0]
        dtype = _NUMPY[t.Type()]
        return (
            np.frombuffer(self.file, dtype, stored.size // np.dtype(dtype).itemsize, offset).reshape(self._shape(tensor)),
            t.Buffer(),
            offset,
        )

    def _parameter(self, tensor: int, order: tuple[int, ...] | None) -> str:
        array, buffer, offset = self._constant(self._dequantised.get(tensor, tensor))
        name = f"b{buffer}"
        if name not in self.constants:
            self.constants[name] = _Constant(offset, array.dtype.type, array.shape, order)
            weight = array.astype(np.float32)
            weight = weight if order is None else weight.transpose(order)
            self.register_parameter(name, nn.Parameter(torch.from_numpy(np.ascontiguousarray(weight))))
        return name

    def _read_operator(self, tflite, op, path: Path) -> None:
        code = self._model.OperatorCodes(op.OpcodeIndex())
        name = self._names[max(code.BuiltinCode(), code.DeprecatedBuiltinCode())]
        inputs, output = [int(v) for v in op.InputsAsNumpy()], int(op.Outputs(0))

        def options(kind):
            out, table = kind(), op.BuiltinOptions()
            out.Init(table.Bytes, table.Pos)
            return out

        if name == "DEQUANTIZE":
            self._dequantised[output] = inputs[0]
        elif name in ("CONV_2D", "DEPTHWISE_CONV_2D"):
            deep = name.startswith("DEPTHWISE")
            o = options(tflite.DepthwiseConv2DOptions if deep else tflite.Conv2DOptions)
            self._read_convolution(o, inputs, output, deep)
        elif name == "ADD":
            act = options(tflite.AddOptions).FusedActivationFunction()
            self._step(inputs, output, lambda _, a, b: _activate(a + b, act))
        elif name == "PAD":
            n = self._constant(inputs[1])[0]
            pad = [int(v) for v in (n[2, 0], n[2, 1], n[1, 0], n[1, 1], n[3, 0], n[3, 1])]
            self._step(inputs[:1], output, lambda _, x: F.pad(x, pad))
        elif name == "RESIZE_BILINEAR":
            o, size = options(tflite.ResizeBilinearOptions), tuple(int(v) for v in self._constant(inputs[1])[0])
            if o.AlignCorners() or o.HalfPixelCenters():
                aligned = bool(o.AlignCorners())
                self._step(inputs[:1], output, lambda _, x: F.interpolate(x, size=size, mode="bilinear", align_corners=aligned))
            else:
                self._step(inputs[:1], output, lambda _, x: _resize_from_corner(x, size))
        elif name == "MAX_POOL_2D":
            o, shape = options(tflite.Pool2DOptions), self._shape(inputs[0])
            kernel, stride = (o.FilterHeight(), o.FilterWidth()), (o.StrideH(), o.StrideW())
            pad = (0, 0, 0, 0)
            if o.Padding() == _SAME:
                pad = (*_same_padding(shape[2], kernel[1], stride[1]), *_same_padding(shape[1], kernel[0], stride[0]))
            self._step(
                inputs, output, lambda _, x: F.max_pool2d(F.pad(x, pad, value=torch.finfo(x.dtype).min) if any(pad) else x, kernel, stride)
            )
        elif name == "RESHAPE":
            shape = self._shape(output)[1:]
            self._step(inputs[:1], output, lambda _, x: x.permute(0, 2, 3, 1).reshape([-1, *shape]))
        elif name == "LOGISTIC":
            self._step(inputs, output, lambda _, x: torch.sigmoid(x.float()))
        else:
            raise MatsideError(f"{path}: the operator {name} is not one the pose-landmark family uses; this file cannot be tuned here.")

    def _step(self, inputs: list[int], output: int, run: Callable) -> None:
        self.steps.append(_Step(tuple(inputs), output, run))

    def _read_convolution(self, o, inputs: list[int], output: int, deep: bool) -> None:
        weight = self._parameter(inputs[1], (3, 0, 1, 2) if deep else (0, 3, 1, 2))
        bias = self._parameter(inputs[2], None) if len(inputs) > 2 and inputs[2] >= 0 else None
        stride, dilation = (o.StrideH(), o.StrideW()), (o.DilationHFactor(), o.DilationWFactor())
        kernel, image, act = self._shape(inputs[1]), self._shape(inputs[0]), o.FusedActivationFunction()
        groups = image[3] if deep else 1
        rows = cols = (0, 0)
        if o.Padding() == _SAME:
            rows, cols = (_same_padding(image[d], kernel[d], stride[d - 1], dilation[d - 1]) for d in (1, 2))
        even = rows[0] == rows[1] and cols[0] == cols[1]
        inside = (rows[0], cols[0]) if even else (0, 0)

        def run(weights, x):
            x = x if even else F.pad(x, (*cols, *rows))
            return _activate(F.conv2d(x, weights[weight], weights[bias] if bias else None, stride, inside, dilation, groups), act)

        self._step(inputs[:1], output, run)
        self.convolution_of[output] = weight, bias

    # ---- running ----

    def forward(
        self, x: torch.Tensor, *, want: tuple[int, ...] = (POINTS, PERSON, MASK, HEATMAP, WORLD), weights: dict | None = None
    ) -> list[torch.Tensor]:
        """x (b, 3, 256, 256) in 0..1 -> the wanted outputs as the file gives them (maps channels last).

        `weights` replaces the module's own parameters by name; steps that no wanted output needs are left out.
        """
        values = self._run(x, [self.outputs[k] for k in want], weights)
        return [v.permute(0, 2, 3, 1) if v.ndim == 4 and v.shape[2] > 1 else v for v in values]

    def tensor(self, x: torch.Tensor, number: int) -> torch.Tensor:
        """Any tensor of the graph by its number in the file, maps channels first."""
        return self.tensors(x, [number])[0]

    def tensors(self, x: torch.Tensor, numbers: list[int], weights: dict | None = None) -> list[torch.Tensor]:
        """Tensors of the graph by their numbers in the file, in one run, maps channels first; `weights` as in `forward`."""
        return self._run(x, numbers, weights)

    def _run(self, x: torch.Tensor, ends: list[int], weights: dict | None) -> list[torch.Tensor]:
        weights = dict(self.named_parameters()) if weights is None else weights
        needed, todo = set(ends), []
        for step in reversed(self.steps):
            if step.output in needed:
                todo.append(step)
                needed.update(step.inputs)
        last_use = {i: k for k, step in enumerate(reversed(todo)) for i in step.inputs}
        memory = torch.channels_last if self.channels_last else torch.contiguous_format
        values = {self.input: x.contiguous(memory_format=memory)}
        for k, step in enumerate(reversed(todo)):
            values[step.output] = step.run(weights, *(values[i] for i in step.inputs))
            for i in set(step.inputs):
                if last_use[i] == k and i not in ends:
                    del values[i]
        return [values[e] for e in ends]

    def last_convolution(self, output: int) -> tuple[str, str, int]:
        """Names of the weight and the bias that an output (POINTS, ...) is made with last, and the number of the tensor that goes into it."""
        came_from = {step.output: step.inputs for step in self.steps}
        tensor = self.outputs[output]
        while not self.convolution_of.get(tensor):
            tensor = came_from[tensor][0]
        weight, bias = self.convolution_of[tensor]
        return weight, str(bias), came_from[tensor][0]

    @property
    def presence_bias(self) -> str:
        """Name of the parameter that is added last to the logit of presence."""
        return self.last_convolution(PERSON)[1]

    # ---- writing back ----

    @torch.no_grad()
    def written(self, weights: dict | None = None) -> bytes:
        """The same file with its weights replaced (by `weights`, else by the module's own); nothing else changes, nor does the size."""
        out = bytearray(self.file)
        for name, where in self.constants.items():
            w = (getattr(self, name) if weights is None else weights[name]).detach().float().cpu().numpy()
            w = w if where.order is None else w.transpose(np.argsort(where.order))
            if w.shape != where.shape:
                raise ValueError(f"{name}: weights of shape {w.shape} do not fit the file's {where.shape}")
            if where.dtype is np.float16:
                w = np.clip(w, -65504, 65504)
            stored = np.ascontiguousarray(w.astype(where.dtype)).tobytes()
            out[where.offset : where.offset + len(stored)] = stored
        return bytes(out)


def mixed(original: dict, tuned: dict, share: float) -> dict:
    """original * (1 - share) + tuned * share, weight by weight, as half floats store it."""
    return {k: (original[k] * (1 - share) + tuned[k].to(original[k].device) * share).half().float() for k in original}
