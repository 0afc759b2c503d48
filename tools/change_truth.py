"""Truth of visible change on the rendered houses: which rays of photo a meet something that photo b does not show.

usage: change_truth.py --renderer DIR --house DIR... > pairs.jsonl

Rebuilds each room from the house's seed with the scene renderer's own code and casts rays; nothing is rendered. One line a
pair of two phases of one view: `a`, `b` (house/file), `phase_a`, `phase_b`, `width` x `height` grid over a's frame and `cells`,
row by row, one letter a ray: `.` seen in both and the same, `x` changed (what one photo shows there is absent from the scene
of the other), `-` outside b's frame or hidden by what is in both (nothing to compare). `share` is x / (x + .).
"""
import argparse, json, os, sys

GRID = (48, 36)


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--renderer", required=True)
    ap.add_argument("--house", nargs="+", required=True)
    args = ap.parse_args()
    sys.path.insert(0, args.renderer)
    global bpy, rh, Vector
    import bpy
    from mathutils import Vector
    import render_house as rh
    quiet = os.dup(1)
    os.dup2(2, 1)                                        # the renderer prints; only the table goes to stdout
    out = os.fdopen(quiet, "w")
    for house in args.house:
        pairs(house, out)


def pairs(house, out):
    truth = [json.loads(line) for line in open(os.path.join(house, "ground_truth.jsonl"))]
    files = {t["file"]: t for t in truth}
    name = os.path.basename(os.path.normpath(house))
    size = (truth[0]["width"], truth[0]["height"])
    # The shots of the matched views do not depend on how many wrong shots were asked for.
    argv = argparse.Namespace(seed=truth[0]["seed"], out="/tmp", job="truth-scratch", size=size, samples=1, device="cpu",
                              threads=1, rooms=None, angles=None, max_angles=3, wrong=0)

    class Cast(rh.Job):
        def shoot(s, room, room_name, angle, phase, M, ref, lights, meta, items, tag=""):
            s.items = items
            s.shots.append((room_name, angle, phase, M.copy()))

    job = Cast(argv)
    for room_name, kind, variant in rh.ROOMS:
        job.shots = []
        job.room(room_name, kind, variant, [])
        shots = {}
        for room, angle, phase, M in job.shots:
            hit = [f for f, t in files.items() if (t["room"], t["claimed_angle"], t["phase"], t["relation"]) == (room, angle, phase, "match")]
            if not hit:
                continue
            t = files[hit[0]]
            drift = max(abs(x - y) for p, q in zip(M @ rh.CV, t["pose_c2w"]) for x, y in zip(p, q))
            assert drift < 1e-4, (hit[0], drift)
            shots[angle, phase] = (f"{name}/{hit[0]}", M, t["fx"])
        for (angle, pa), a in shots.items():
            for pb in ("during", "after"):
                b = shots.get((angle, pb))
                if b is None or pa == pb or pa == "after":
                    continue
                row(out, job.items, (pa, *a), (pb, *b), size)


def row(out, items, a, b, size):
    (pa, fa, Ma, fxa), (pb, fb, Mb, fxb), (w, h) = a, b, size
    nx, ny = GRID
    sc = bpy.context.scene
    hidden = {}
    for phase in (pa, pb):
        rh.show(phase, items)
        hidden[phase] = {o.name for o in bpy.data.objects if o.hide_viewport}
    rh.show(pa, items)
    dg = bpy.context.evaluated_depsgraph_get()
    seen = []
    for j in range(ny):
        for i in range(nx):
            v = Vector((((i + .5) / nx - .5) * w / fxa, -((j + .5) / ny - .5) * h / fxa, -1))
            ok, loc, _, _, ob, _ = sc.ray_cast(dg, Ma.translation, (Ma.to_3x3() @ v).normalized())
            seen.append((loc.copy(), ob.name) if ok else (Ma.translation + Ma.to_3x3() @ v * 400, None))
    rh.show(pb, items)
    dg = bpy.context.evaluated_depsgraph_get()
    inverse, cells = Mb.inverted(), ""
    for loc, name in seen:
        c = inverse @ loc
        x, y = (c.x / -c.z * fxb, c.y / -c.z * fxb) if c.z < -.02 else (1e9, 1e9)
        if abs(x) > w / 2 or abs(y) > h / 2:
            cells += "-"
            continue
        to = loc - Mb.translation
        ok, at, _, _, ob, _ = sc.ray_cast(dg, Mb.translation, to.normalized())
        reach = (at - Mb.translation).length if ok else 1e9
        if name in hidden[pb]:
            cells += "x"
        elif reach > to.length * .99 - .01 or (name is None and not ok):
            cells += "."
        else:
            cells += "x" if ob.name in hidden[pa] else "-"
    changed, same = cells.count("x"), cells.count(".")
    out.write(json.dumps(dict(a=fa, b=fb, phase_a=pa, phase_b=pb, width=nx, height=ny, share=round(changed / max(changed + same, 1), 4), cells=cells)) + "\n")
    out.flush()


if __name__ == "__main__":
    main()
