"""One maker of photographs of an invented car, for tests, sample data and benchmarks alike.

    rng = np.random.default_rng(1)
    car = photo_car(rng, axle_offset=5.0)
    scene = make_scene(car, rng)
    shots = walk_round(scene, Camera(), 24, rng)
    observe(scene, shots, 0.02, rng)              # what the finder would hand on, in milliseconds
    render(scene, shots[0], Look(), seed=1)       # the picture itself
    write_photo_job(folder, scene, shots, Look(), seed=1)

Car axes, mm; pixels as in `measure.photo.lens`. A point X of the car lies at R X + t in a camera's axes. No body,
phone or workshop here is copied from a real one.
"""

from tests.synthetic.photos.camera import Camera, Shot, aimed, phone_lens
from tests.synthetic.photos.car_scene import make_scene, photo_car
from tests.synthetic.photos.jpeg import jpeg
from tests.synthetic.photos.observe import observe
from tests.synthetic.photos.photo_job import write_photo_job
from tests.synthetic.photos.render import Rendered, render
from tests.synthetic.photos.scene import Bar, Pipe, Scene, Sheet, facing
from tests.synthetic.photos.sensor import Look
from tests.synthetic.photos.visible import Sight, sights
from tests.synthetic.photos.walkround import walk_round

__all__ = [
    "Bar",
    "Camera",
    "Look",
    "Pipe",
    "Rendered",
    "Scene",
    "Sheet",
    "Shot",
    "Sight",
    "aimed",
    "facing",
    "jpeg",
    "make_scene",
    "observe",
    "phone_lens",
    "photo_car",
    "render",
    "sights",
    "walk_round",
    "write_photo_job",
]
