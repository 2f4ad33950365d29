"""Packs the weights that `train.py` left into an ONNX network: frames [1, T, 288] to log probabilities [1, T, 29].

    python3 pack.py WEIGHTS.npz NETWORK.onnx          needs numpy and onnx

Weights stay at half precision in the file and are widened when the network is loaded.
"""

import sys

import numpy as np
from onnx import TensorProto, checker, helper, numpy_helper

weights = np.load(sys.argv[1])
nodes, constants = [], []


def constant(name, values=None):
    values = weights[name] if values is None else values
    constants.append(numpy_helper.from_array(np.ascontiguousarray(values.astype(np.float16)), name + ".half"))
    nodes.append(helper.make_node("Cast", [name + ".half"], [name], to=TensorProto.FLOAT))
    return name


def node(kind, inputs, name, **attributes):
    nodes.append(helper.make_node(kind, inputs, [name], **attributes))
    return name


def linear(x, name):
    constant(name + ".weight", weights[name + ".weight"].T)
    return node("Add", [node("MatMul", [x, name + ".weight"], name + ".product"), constant(name + ".bias")], name)


def norm(x, name):
    return node("LayerNormalization", [x, constant(name + ".weight"), constant(name + ".bias")], name, axis=-1, epsilon=1e-5)


x = linear(norm("frames", "first"), "into")
block = 0
while f"blocks.{block}.norm.weight" in weights:
    at = f"blocks.{block}"
    kernel = weights[at + ".conv.weight"]
    y = node("Transpose", [norm(x, at + ".norm")], at + ".across", perm=[0, 2, 1])
    reach = kernel.shape[2] // 2
    y = node("Conv", [y, constant(at + ".conv.weight"), constant(at + ".conv.bias")], at + ".conv", group=kernel.shape[0], pads=[reach, reach])
    y = node("Transpose", [y], at + ".back", perm=[0, 2, 1])
    y = linear(node("Relu", [linear(y, at + ".up")], at + ".relu"), at + ".down")
    x = node("Add", [x, y], at)
    block += 1
x = linear(norm(x, "last"), "out")
node("LogSoftmax", [x], "letters", axis=-1)

given = helper.make_tensor_value_info("frames", TensorProto.FLOAT, [1, "time", weights["first.weight"].shape[0]])
wanted = helper.make_tensor_value_info("letters", TensorProto.FLOAT, [1, "time", weights["out.bias"].shape[0]])
graph = helper.make_graph(nodes, "letters", [given], [wanted], constants)
model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9)
checker.check_model(model)
with open(sys.argv[2], "wb") as file:
    file.write(model.SerializeToString())
