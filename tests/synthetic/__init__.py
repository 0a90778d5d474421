"""One maker of invented cars with named noise, for tests, sample data and benchmarks alike.

    rng = np.random.default_rng(1)
    car = make_car(rng, damage={"tail": (0.0, 11.0, 0.0)}, axle_offset=5.0)
    sheet = survey(car, rng, tapes=60, roll_deg=0.8)
    write_job(folder, car, sheet, title="an invented car")
    truth(car)["pair.tail.offset"]

Lengths in mm. Car axes: x forward, y left, z up, the design's symmetry plane at y = 0. No body here is copied
from a real one.
"""

from tests.synthetic.car import Car, Member, make_car
from tests.synthetic.job_files import write_job
from tests.synthetic.misreadings import KINDS as MISREADINGS
from tests.synthetic.misreadings import Planted, plant
from tests.synthetic.survey import Survey, survey
from tests.synthetic.tape_plan import tape_plan
from tests.synthetic.truth import car_from_design, tilt, truth

__all__ = [
    "MISREADINGS",
    "Car",
    "Member",
    "Planted",
    "Survey",
    "car_from_design",
    "make_car",
    "plant",
    "survey",
    "tape_plan",
    "tilt",
    "truth",
    "write_job",
]
