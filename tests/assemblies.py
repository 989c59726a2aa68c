"""Made assemblies of solids, measured without a file."""

from collections.abc import Sequence

import manifold3d
import numpy as np
from meshes import mesh

from takeoff.geometry.mesh import volume
from takeoff.geometry.solids import Slice, SolidRequest, SolidResult
from takeoff.measuring.measure import measure
from takeoff.measuring.measured import Measured
from takeoff.measuring.orders import Order
from takeoff.measuring.plan import ElementPlan, PartPlan
from takeoff.preparing import read_rules
from takeoff.reading.facts import ElementFacts, ModelFacts
from takeoff.settings import Settings

RULES = read_rules(Settings())[0]
MODEL = ModelFacts("made", "made.ifc", "0" * 64, "IFC4", 1.0)


def measured_things(things: Sequence[tuple[str, str, manifold3d.Manifold]]) -> Measured:
    """Measure (role, method, solid) triples; GlobalIds follow the solids' places, not their order."""
    plans, orders, solids = [], [], {}
    for number, (role, method, solid) in enumerate(things):
        body = mesh(solid)
        facts = ElementFacts("made", number, f"id-{number:03d}", "IfcElement", role=role, body=(number,))
        plan = ElementPlan(facts, role, "", (PartPlan(1, method, "made"),))
        plans.append(plan)
        orders.append(Order(SolidRequest(number, (number,)), number, plan.parts))
        size = volume(body)
        solids[number] = SolidResult(number, (Slice(size, size, body),))
    return measure((MODEL,), plans, orders, solids, np.zeros(3), RULES)
