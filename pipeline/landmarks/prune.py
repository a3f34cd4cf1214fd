"""A landmark model without its silhouette branch: the same points to the last bit, in two thirds of the time.

The models of the family compute a 256 x 256 segmentation mask with every call; following needs only the points. Looks from near by also want
the layer that the heatmaps are made of, which costs nothing: it is computed anyway.
Works on the TensorFlow Lite flatbuffer through the schema that mediapipe carries.
"""

from __future__ import annotations

from pipeline.errors import MatsideError

MASK_SHAPE = (1, 256, 256, 1)
HEATMAP_SHAPE = (1, 64, 64, 39)


def without_mask(model: bytes, *, name: str, inner: bool = False) -> bytes:
    """The same flatbuffer without the mask output and the operators only it needs. Raises MatsideError for other models.

    inner: with what the heatmaps are made of, (1, 64, 64, channels), as one more output.
    """
    import flatbuffers
    from mediapipe.tasks.metadata import schema_py_generated as schema

    try:
        tree = schema.ModelT.InitFromObj(schema.Model.GetRootAsModel(bytearray(model), 0))
        graph = tree.subgraphs[0]
        shape = {i: tuple(int(v) for v in graph.tensors[i].shape) for i in map(int, graph.outputs)}
        kept = [i for i in shape if shape[i] != MASK_SHAPE]
        if inner:
            heatmaps = next(i for i in kept if shape[i] == HEATMAP_SHAPE)
            kept.append(next(int(o.inputs[0]) for o in graph.operators if heatmaps in map(int, o.outputs)))
    except Exception as error:  # the flatbuffer reader fails in many ways on a file that is none
        raise MatsideError(
            f"{name}: not a TensorFlow Lite model of the pose-landmark family ({error}). Give a .tflite or .task file of it."
        ) from error
    needed, operators = set(kept), []
    for operator in reversed(graph.operators):
        if needed.intersection(int(i) for i in operator.outputs):
            operators.append(operator)
            needed.update(int(i) for i in operator.inputs)
    graph.outputs, graph.operators = kept, operators[::-1]
    tree.signatureDefs = None  # they name the dropped output
    tree.metadata, tree.metadataBuffer = None, None
    builder = flatbuffers.Builder(len(model))
    builder.Finish(tree.Pack(builder), b"TFL3")
    return bytes(builder.Output())
