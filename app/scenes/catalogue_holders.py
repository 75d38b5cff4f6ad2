"""Every holder of the catalogues, whether a scene names it or not."""

from __future__ import annotations

from app.scenes import tool_model as model
from app.scenes.build_tools import holder_of
from app.scenes.catalogues import Catalogues
from app.scenes.faults import Fault
from app.scenes.prelude import opened
from app.scenes.reading import read_model
from app.scenes.side_files import SideFileFault
from kinematics.scene import Holder


def catalogue_holders(catalogues: Catalogues) -> tuple[tuple[Holder, ...], tuple[Fault, ...]]:
    """The holders that can be read, sorted by name, and what is wrong with the others."""
    holders: list[Holder] = []
    faults: list[Fault] = []
    for found in catalogues.listing("holder"):
        try:
            document, _ = catalogues.document(found)
        except SideFileFault as fault:
            faults.append(Fault(found.file, 1, 1, "", str(fault)))
            continue
        reading = opened(document, faults, [])
        if reading is None or document.root is None:
            continue
        n_faults = len(faults)
        holder = read_model(model.HolderFile, document.root, reading)
        if holder is not None and len(faults) == n_faults:
            holders.append(holder_of(found.name, holder, document, document.root))
    return tuple(holders), tuple(sorted(faults))
