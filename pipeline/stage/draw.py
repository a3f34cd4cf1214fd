"""Drawing: solids and people into an RGB picture with moderngl on EGL (Mesa's software renderer serves)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.stage.camera import Camera
from pipeline.stage.clothes import Dressed
from pipeline.stage.hall import CLOTH, Hall, Solid
from pipeline.stage.pose import Placed

SHADOW_SIZE = 1024
_VERTEX = """
#version 330
uniform mat4 to_clip; uniform mat4 to_light;
in vec3 place; in vec3 normal; in vec4 colour; in vec3 rest;
out vec3 v_place; out vec3 v_normal; out vec4 v_colour; out vec3 v_rest; out vec4 v_light;
void main() {
    v_place = place; v_normal = normal; v_colour = colour; v_rest = rest;
    v_light = to_light * vec4(place, 1.0);
    gl_Position = to_clip * vec4(place, 1.0);
}
"""
_FRAGMENT = """
#version 330
#define MATERIAL %d
uniform vec3 sun; uniform vec3 light; uniform vec3 ambient; uniform float shade; uniform vec3 eye;
uniform float pattern; uniform sampler2DShadow shadows; uniform sampler2D grain;
in vec3 v_place; in vec3 v_normal; in vec4 v_colour; in vec3 v_rest; in vec4 v_light;
out vec4 picture;
float noise(vec2 p) { return texture(grain, p * 0.03125).r; }
float line(float x, float width) { float d = abs(fract(x) - 0.5); return smoothstep(0.5 - width, 0.5 - 0.4 * width, d); }
void main() {
    vec3 c = v_colour.rgb, n = normalize(v_normal), p = v_place, look = normalize(eye - p);
#if MATERIAL == 0
    c *= 0.93 + 0.14 * noise(p.xy + p.zz);
#elif MATERIAL == 1
    c *= (0.9 + 0.16 * noise(p.xy * 3.0)) * (1.0 - 0.45 * line(p.x / 1.2, 0.012));
#elif MATERIAL == 2
    float row = floor(p.y / 0.09);
    float plank = fract(row * 0.618 + floor(p.x / 1.1 + fract(row * 0.37)) * 0.414);
    c *= (0.86 + 0.18 * plank) * (0.95 + 0.1 * noise(vec2(p.x * 2.0, p.y * 20.0))) * (1.0 - 0.3 * line(p.y / 0.09, 0.05));
#elif MATERIAL == 3
    float row = floor(p.z / 0.11), x = p.x / 0.26 + 0.5 * mod(row, 2.0);
    c *= 0.9 + 0.14 * fract(row * 0.618 + floor(x) * 0.7548);
    c *= 1.0 - 0.18 * max(line(p.z / 0.11, 0.06), line(x, 0.03));
#elif MATERIAL == 4
    c *= (1.0 - 0.35 * line(p.z / 0.22, 0.04)) * (0.95 + 0.1 * noise(p.xz));
#else
    float cloth = step(0.5, v_colour.a);
    float blotch = pattern > 1.5 ? smoothstep(0.6, 0.64, noise(v_rest.xz * 16.0)) : pattern > 0.5 ? step(0.72, fract(v_rest.z * 9.0)) : 0.0;
    c = mix(c, vec3(0.91, 0.89, 0.83), blotch * cloth);
    c *= 1.0 + (noise(v_rest.xz * 30.0) - 0.5) * mix(0.06, 0.14, cloth);
    if (dot(n, look) < 0.0) n = -n;
#endif
    float facing = max(dot(n, sun), 0.0), lit = 1.0;
#if MATERIAL == 1 || MATERIAL == 2 || MATERIAL == 5 || MATERIAL == 0
    vec3 s = v_light.xyz * 0.5 + 0.5;
    if (all(greaterThan(s.xy, vec2(0.01))) && all(lessThan(s.xy, vec2(0.99)))) {
        float d = 0.9 / 1024.0, z = s.z - 0.0018;
        lit = 0.25 * (texture(shadows, vec3(s.x - d, s.y - d, z)) + texture(shadows, vec3(s.x + d, s.y - d, z))
                    + texture(shadows, vec3(s.x - d, s.y + d, z)) + texture(shadows, vec3(s.x + d, s.y + d, z)));
    }
#endif
    float open = 1.0 - shade * (1.0 - lit);
    float soft = MATERIAL == 1 || MATERIAL == 2 ? 1.0 - 0.45 * shade * (1.0 - lit) : 1.0;
    float gloss = 0.0;
#if MATERIAL == 5 || MATERIAL == 1
    float g = max(dot(n, normalize(sun + look)), 0.0); g *= g; g *= g; g *= g; g *= g;
    gloss = g * 0.07 * open;
#endif
    picture = vec4(c * (ambient * (0.72 + 0.28 * n.z) * soft + light * facing * open) + gloss, 1.0);
}
"""
_SHADOW_FRAGMENT = "#version 330\nvoid main() {}"
_SHADOW_VERTEX = "#version 330\nuniform mat4 to_light; in vec3 place; void main() { gl_Position = to_light * vec4(place, 1.0); }"


@dataclass
class Player:
    """Someone to draw: dressed, and placed at every frame."""

    dressed: Dressed
    placed: Placed


class Stage:
    """A drawing surface with a hall on it. Use as a context manager; `picture` draws one frame."""

    def __init__(self, solids: list[Solid], hall: Hall, width: int, height: int, *, samples: int = 4) -> None:
        import moderngl

        self.gl = moderngl.create_standalone_context(backend="egl")
        self.hall, self.size = hall, (width, height)
        gl = self.gl
        self.programs: dict[int, Any] = {}
        self.shadow_program = gl.program(vertex_shader=_SHADOW_VERTEX, fragment_shader=_SHADOW_FRAGMENT)
        self.fine = gl.framebuffer(gl.renderbuffer(self.size, samples=samples), gl.depth_renderbuffer(self.size, samples=samples))
        self.plain = gl.framebuffer(gl.renderbuffer(self.size))
        self.shadow_map = gl.depth_texture((SHADOW_SIZE, SHADOW_SIZE))
        self.shadow_map.compare_func = "<="
        self.shadow_map.repeat_x = self.shadow_map.repeat_y = False
        speckle = np.random.default_rng(7).integers(0, 256, (256, 256), dtype=np.uint8)
        self.grain = gl.texture((256, 256), 1, speckle.tobytes(), alignment=1)
        self.grain.build_mipmaps()
        self.shadow_buffer = gl.framebuffer(depth_attachment=self.shadow_map)
        self.meshes: list[tuple] = []
        for s in solids:
            colour = np.c_[s.colour, np.zeros(len(s.colour))]
            self.meshes.append(self._mesh(s.vertices, s.normals, colour, s.vertices, s.faces, s.material, 0.0, s.casts))
        self.players: dict[int, tuple] = {}

    def __enter__(self) -> Stage:
        return self

    def __exit__(self, *_) -> None:
        self.gl.release()

    def _program(self, material: int):
        if material not in self.programs:
            self.programs[material] = self.gl.program(vertex_shader=_VERTEX, fragment_shader=_FRAGMENT % material)
        return self.programs[material]

    def _mesh(self, place, normal, colour, rest, faces, material: float, pattern: float, casts: bool):
        gl = self.gl
        moving = gl.buffer(np.hstack([place, normal]).astype("f4").tobytes(), dynamic=True)
        fixed = gl.buffer(np.hstack([colour, rest]).astype("f4").tobytes())
        index = gl.buffer(faces.astype("i4").tobytes())
        program = self._program(int(material))
        used = "4f 3f" if "rest" in program else "4f 3x4"
        names = ("colour", "rest") if "rest" in program else ("colour",)
        seen = gl.vertex_array(program, [(moving, "3f 3f", "place", "normal"), (fixed, used, *names)], index)
        dark = gl.vertex_array(self.shadow_program, [(moving, "3f 3x4", "place")], index)
        return seen, dark, moving, program, pattern, casts

    def _player(self, player: Player, frame: int):
        d = player.dressed
        key = id(player)
        if key not in self.players:
            zero = np.zeros_like(d.rest)
            self.players[key] = self._mesh(zero, zero, d.colour, d.rest, d.faces, CLOTH, d.pattern, True)
        mesh = self.players[key]
        t = np.concatenate([player.placed.turn[frame], player.placed.shift[frame][:, :, None]], axis=2).reshape(-1, 12).astype(np.float32)
        m = np.asarray(d.weights @ t).reshape(-1, 3, 4)
        place = np.einsum("vij,vj->vi", m[:, :, :3], d.rest.astype(np.float32)) + m[:, :, 3]
        normal = np.einsum("vij,vj->vi", m[:, :, :3], d.normals.astype(np.float32))
        mesh[2].write(np.hstack([place, normal]).astype("f4").tobytes())
        return mesh

    def picture(self, camera: Camera, frame: int, players: list[Player], middle: np.ndarray) -> np.ndarray:
        """(height, width, 3) uint8. middle : (3,) where the shadows need to be sharp."""
        import moderngl

        gl = self.gl
        sun = np.array(self.hall.light_from) / np.linalg.norm(self.hall.light_from)
        to_light = _light_matrix(sun, middle)
        everyone = self.meshes + [self._player(p, frame) for p in players]
        gl.enable(moderngl.DEPTH_TEST)
        self.shadow_buffer.use()
        self.shadow_buffer.clear(depth=1.0)
        self.shadow_program["to_light"].write(to_light.T.astype("f4").tobytes())
        for _, dark, _, _, _, casts in everyone:
            if casts:
                dark.render()
        self.fine.use()
        self.fine.clear(0.3, 0.3, 0.32, 1.0)
        self.shadow_map.use(0)
        self.grain.use(1)
        shared = dict(to_clip=camera.matrix(frame).T, to_light=to_light.T, sun=sun, light=self.hall.light, ambient=self.hall.ambient,
                      eye=camera.eye[frame], shade=self.hall.shadow)  # fmt: skip
        for program in self.programs.values():
            for name, value in shared.items():
                if name in program:
                    program[name].write(np.asarray(value, "f4").tobytes())
            for name, unit in (("shadows", 0), ("grain", 1)):
                if name in program:
                    program[name].value = unit
        for seen, _, _, program, pattern, _ in everyone:
            if "pattern" in program:
                program["pattern"].value = float(pattern)
            seen.render()
        gl.copy_framebuffer(self.plain, self.fine)
        raw = np.frombuffer(self.plain.read(components=3, alignment=1), np.uint8)
        return raw.reshape(self.size[1], self.size[0], 3)[::-1]


def _light_matrix(sun: np.ndarray, middle: np.ndarray, reach: float = 3.2) -> np.ndarray:
    """(4, 4) world to the light's clip space, a box `reach` metres around the middle."""
    side = np.cross(sun, [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, sun)
    m = np.eye(4)
    for row, axis in enumerate((side, up, -sun)):
        m[row, :3] = axis / reach
        m[row, 3] = -axis @ middle / reach
    m[2] /= 2.0
    return m
