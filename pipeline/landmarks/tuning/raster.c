/* The drawing kernel of the training pictures: skinning, triangles with a depth buffer, cloth and hall textures,
 * one sun-like light with a shadow map. Compiled on first use by raster.py; nothing here allocates or keeps state.
 *
 * Arrays are row-major float32 unless said otherwise. World coordinates are metres, z up, floor at z = 0.
 * Depth buffers hold 1/depth (larger = nearer; 0 = nothing there). */
#include <math.h>
#include <stdint.h>
#include <string.h>

/* Mirrors MATERIAL in clothes.py: 16 floats. */
typedef struct {
    float kind;            /* 0 plain, 1 mottled, 2 stripes, 3 blots, 4 dots, 5 broad bands */
    float frequency, amount;
    float colour[3];       /* of the pattern */
    float direction[3], phase;
    float gloss;           /* strength of the highlight */
    float wrinkle, wrinkle_frequency;  /* cloth folds: how far normals are tipped, and folds per metre */
    float line_spacing, line_shade;    /* floor: mats' edges every so many metres; wall: height of the dado */
    float spare;
} Material;

static inline float dot3(const float *a, const float *b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

static inline void normalise3(float *a) {
    float inverse = 1.0f / (sqrtf(dot3(a, a)) + 1e-12f);
    for (int i = 0; i < 3; i++) a[i] *= inverse;
}

/* ---- geometry -------------------------------------------------------------------------------------------- */

/* Linear blend skinning. bone_of, weight: (vertices, per_vertex); bones: (n, 3, 4). */
void skin(int vertices, int per_vertex, const float *rest, const uint8_t *bone_of, const float *weight, const float *bones, float *out) {
    for (int v = 0; v < vertices; v++) {
        float blend[12] = {0};
        for (int k = 0; k < per_vertex; k++) {
            float w = weight[v * per_vertex + k];
            if (w == 0) continue;
            const float *bone = bones + 12 * bone_of[v * per_vertex + k];
            for (int i = 0; i < 12; i++) blend[i] += w * bone[i];
        }
        for (int i = 0; i < 3; i++) out[3 * v + i] = dot3(blend + 4 * i, rest + 3 * v) + blend[4 * i + 3];
    }
}

/* Vertex normals, weighted by the areas of the faces. */
void normals(int vertices, int faces, const float *points, const int *face, float *out) {
    memset(out, 0, sizeof(float) * 3 * vertices);
    for (int f = 0; f < faces; f++) {
        const int *t = face + 3 * f;
        float u[3], v[3];
        for (int i = 0; i < 3; i++) {
            u[i] = points[3 * t[1] + i] - points[3 * t[0] + i];
            v[i] = points[3 * t[2] + i] - points[3 * t[0] + i];
        }
        float n[3] = {u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]};
        for (int c = 0; c < 3; c++)
            for (int i = 0; i < 3; i++) out[3 * t[c] + i] += n[i];
    }
    for (int v = 0; v < vertices; v++) normalise3(out + 3 * v);
}

/* Draw triangles into a depth buffer. corners: (vertices, 3) = pixel x, pixel y, 1/depth (<= 0: behind the camera).
 * face_id (or NULL) gets first_id + face; bary1, bary2 the perspective-correct weights of corners 1 and 2. */
void raster(int width, int height, int faces, const float *corners, const int *face, int first_id, float *depth, int *face_id, float *bary1,
            float *bary2) {
    for (int f = 0; f < faces; f++) {
        const float *a = corners + 3 * face[3 * f], *b = corners + 3 * face[3 * f + 1], *c = corners + 3 * face[3 * f + 2];
        if (a[2] <= 0 || b[2] <= 0 || c[2] <= 0) continue;
        float area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if (fabsf(area) < 1e-9f) continue;
        float left = fminf(a[0], fminf(b[0], c[0])), right = fmaxf(a[0], fmaxf(b[0], c[0]));
        float top = fminf(a[1], fminf(b[1], c[1])), bottom = fmaxf(a[1], fmaxf(b[1], c[1]));
        if (right < 0 || bottom < 0 || left >= width || top >= height) continue;
        int x0 = left < 0.5f ? 0 : (int)ceilf(left - 0.5f), x1 = right > width - 1 ? width - 1 : (int)floorf(right - 0.5f);
        int y0 = top < 0.5f ? 0 : (int)ceilf(top - 0.5f), y1 = bottom > height - 1 ? height - 1 : (int)floorf(bottom - 0.5f);
        float inverse = 1 / area;
        for (int y = y0; y <= y1; y++)
            for (int x = x0; x <= x1; x++) {
                float px = x + 0.5f - a[0], py = y + 0.5f - a[1];
                float w1 = (px * (c[1] - a[1]) - py * (c[0] - a[0])) * inverse;
                float w2 = ((b[0] - a[0]) * py - (b[1] - a[1]) * px) * inverse;
                float w0 = 1 - w1 - w2;
                if (w0 < -1e-5f || w1 < -1e-5f || w2 < -1e-5f) continue;
                float d = w0 * a[2] + w1 * b[2] + w2 * c[2];
                int k = y * width + x;
                if (d <= depth[k]) continue;
                depth[k] = d;
                if (face_id) {
                    face_id[k] = first_id + f;
                    bary1[k] = w1 * b[2] / d;
                    bary2[k] = w2 * c[2] / d;
                }
            }
    }
}

/* ---- surfaces -------------------------------------------------------------------------------------------- */

static inline float lattice(int x, int y, int z) {
    uint32_t h = (uint32_t)x * 374761393u + (uint32_t)y * 668265263u + (uint32_t)z * 2147483647u;
    h = (h ^ (h >> 13)) * 1274126177u;
    h ^= h >> 16;
    return (h & 0xffffff) / (float)0x1000000;
}

/* Smooth value noise in 0..1. */
static float noise(float x, float y, float z) {
    int i = (int)floorf(x), j = (int)floorf(y), k = (int)floorf(z);
    float u = x - i, v = y - j, w = z - k, sum = 0;
    u = u * u * (3 - 2 * u);
    v = v * v * (3 - 2 * v);
    w = w * w * (3 - 2 * w);
    for (int a = 0; a < 2; a++)
        for (int b = 0; b < 2; b++)
            for (int c = 0; c < 2; c++) sum += (a ? u : 1 - u) * (b ? v : 1 - v) * (c ? w : 1 - w) * lattice(i + a, j + b, k + c);
    return sum;
}

static void pattern(const Material *m, const float *at, float cloth, float *colour) {
    int kind = (int)m->kind, on = 0;
    if (kind == 0 || cloth < 0.5f) return;
    float q = m->frequency, along = dot3(at, m->direction) * q + m->phase;
    if (kind == 1) {
        float n = 0.6f * noise(at[0] * q + m->phase, at[1] * q, at[2] * q) + 0.4f * noise(at[0] * q * 2.7f, at[1] * q * 2.7f + m->phase, at[2] * q * 2.7f);
        float gain = 1 + m->amount * (n - 0.5f) * 1.6f;
        for (int i = 0; i < 3; i++) colour[i] *= gain;
        return;
    }
    if (kind == 2) on = sinf(along * 6.2832f) > m->amount * 1.6f - 0.8f;
    if (kind == 3) on = noise(at[0] * q + m->phase, at[1] * q, at[2] * q) > 0.62f;
    if (kind == 4) {
        float across = (at[0] * m->direction[1] - at[1] * m->direction[2] + at[2] * m->direction[0]) * q;
        float a = along - floorf(along) - 0.5f, b = across - floorf(across) - 0.5f;
        on = a * a + b * b < 0.06f;
    }
    if (kind == 5) on = along - floorf(along) < 0.5f;
    if (on)
        for (int i = 0; i < 3; i++) colour[i] = m->colour[i];
}

/* Tip a normal along the slope of a stretched noise, so that cloth shows folds. */
static void fold(const Material *m, const float *at, float cloth, float *normal) {
    if (m->wrinkle <= 0 || cloth < 0.5f) return;
    float q = m->wrinkle_frequency, step = 0.2f;
    float x = at[0] * q + m->phase, y = at[1] * q, z = at[2] * q * 0.55f, here = noise(x, y, z);
    normal[0] -= m->wrinkle * (noise(x + step, y, z) - here) / step;
    normal[1] -= m->wrinkle * (noise(x, y + step, z) - here) / step;
    normal[2] -= m->wrinkle * (noise(x, y, z + step) - here) / step;
    normalise3(normal);
}

/* Share of a (2 reach + 1)^2 window of the shadow map that lies nearer to the light than the point. */
static float shadowed(const float *map, int size, const float *to_map, const float *p, int reach, float slack) {
    float x = dot3(to_map, p) + to_map[3], y = dot3(to_map + 4, p) + to_map[7], d = dot3(to_map + 8, p) + to_map[11];
    int hidden = 0, seen = 0;
    for (int j = -reach; j <= reach; j++)
        for (int i = -reach; i <= reach; i++) {
            int u = (int)x + i, v = (int)y + j;
            seen++;
            if (u >= 0 && v >= 0 && u < size && v < size && map[v * size + u] > d + slack) hidden++;
        }
    return (float)hidden / seen;
}

/* Colour the pixels that raster() covered. points, normals_, rest: (vertices, 3); colour: (vertices, 4), the last 1 on cloth;
 * mesh_of: mesh index of each face; materials: one per mesh; image: (height, width, 3), updated. */
void shade(int pixels, const int *face_id, const float *bary1, const float *bary2, const int *face, const uint8_t *mesh_of, const float *points,
           const float *normals_, const float *colour, const float *rest, const Material *materials, const float *eye, const float *light,
           const float *light_colour, const float *ambient, const float *map, int map_size, const float *to_map, float shadow, float *image) {
    for (int k = 0; k < pixels; k++) {
        if (face_id[k] < 0) continue;
        const int *t = face + 3 * face_id[k];
        const Material *m = materials + mesh_of[face_id[k]];
        float w[3] = {1 - bary1[k] - bary2[k], bary1[k], bary2[k]}, p[3] = {0}, n[3] = {0}, c[3] = {0}, at[3] = {0}, cloth = 0;
        for (int v = 0; v < 3; v++) {
            for (int i = 0; i < 3; i++) {
                p[i] += w[v] * points[3 * t[v] + i];
                n[i] += w[v] * normals_[3 * t[v] + i];
                c[i] += w[v] * colour[4 * t[v] + i];
                at[i] += w[v] * rest[3 * t[v] + i];
            }
            cloth += w[v] * colour[4 * t[v] + 3];
        }
        pattern(m, at, cloth, c);
        float view[3] = {eye[0] - p[0], eye[1] - p[1], eye[2] - p[2]};
        normalise3(view);
        normalise3(n);
        if (dot3(n, view) < 0)
            for (int i = 0; i < 3; i++) n[i] = -n[i];
        fold(m, at, cloth, n);
        float half[3] = {view[0] + light[0], view[1] + light[1], view[2] + light[2]};
        normalise3(half);
        float direct = fmaxf(dot3(n, light), 0), gleam = fmaxf(dot3(n, half), 0);
        gleam = powf(gleam, 20) * m->gloss;
        if (direct > 0) {
            float kept = 1 - shadow * shadowed(map, map_size, to_map, p, 1, 0.03f);
            direct *= kept;
            gleam *= kept;
        }
        float sky = 0.55f + 0.45f * n[2];
        for (int i = 0; i < 3; i++) image[3 * k + i] = c[i] * (ambient[i] * sky + light_colour[i] * direct) + gleam;
    }
}

/* Fill the picture with a floor (z = 0) and one wall. to_direction: (3, 3), pixel (x, y, 1) -> direction in the world;
 * wall: outward normal and distance; behind both: sky. */
void hall(int width, int height, const float *to_direction, const float *eye, const float *floor_colour, const float *wall_colour, const float *wall,
          const Material *floor_, const Material *wall_material, const float *sky, const float *map, int map_size, const float *to_map, float shadow,
          float *image) {
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            float px[3] = {x + 0.5f, y + 0.5f, 1}, d[3], c[3] = {sky[0], sky[1], sky[2]}, far = 1e9f;
            for (int i = 0; i < 3; i++) d[i] = dot3(to_direction + 3 * i, px);
            int hit = 0;
            if (d[2] < -1e-6f && -eye[2] / d[2] < far) {
                far = -eye[2] / d[2];
                hit = 1;
            }
            float toward = dot3(d, wall);
            if (toward > 1e-6f) {
                float a = (wall[3] - dot3(eye, wall)) / toward;
                if (a > 0 && a < far) {
                    far = a;
                    hit = 2;
                }
            }
            float p[3];
            for (int i = 0; i < 3; i++) p[i] = eye[i] + far * d[i];
            if (hit == 1) {
                memcpy(c, floor_colour, sizeof c);
                pattern(floor_, p, 1, c);
                float gap = floor_->line_spacing;
                if (gap > 0) {
                    float a = p[0] / gap - floorf(p[0] / gap), b = p[1] / gap - floorf(p[1] / gap);
                    if (a < 0.02f || b < 0.02f)
                        for (int i = 0; i < 3; i++) c[i] *= floor_->line_shade;
                }
                float kept = 1 - shadow * 0.75f * shadowed(map, map_size, to_map, p, 2, 0.02f);
                for (int i = 0; i < 3; i++) c[i] *= kept;
            } else if (hit == 2) {
                memcpy(c, wall_colour, sizeof c);
                pattern(wall_material, p, 1, c);
                if (wall_material->line_spacing > 0 && p[2] < wall_material->line_spacing)
                    for (int i = 0; i < 3; i++) c[i] *= wall_material->line_shade;
            }
            memcpy(image + 3 * (y * width + x), c, sizeof c);
        }
}
