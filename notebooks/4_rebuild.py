# %% [markdown]
# # 4 · Rebuild: back with the same bricks and the same rhythm
#
# Standing courses stay where they are and the gap is filled with the recorded number of bricks, its joints
# carrying on the old rhythm. This is a geometric record, not a structural design: engineer, local code and
# heritage consent decide, and the arch is propped before anything is cut out.

# %%
from survey.fitting import fit_arch
from survey.rebuild import plan_rebuild
from survey.record import read_record
from survey.sheets.rebuild.sets import make_rebuild_sets
from survey.sheets.render.picture import Picture
from survey.sheets.results.frames import cuts_frame, laying_frame, layout_frame, quantities_frame
from survey.shipped import demo_record

record = read_record(demo_record("cellar_doorway"))
fit = fit_arch(record)
plan = plan_rebuild(record, fit)
sheets = {made.name: made.sheets for made in make_rebuild_sets(record, fit, plan)}
for sentence in (*plan.refusals, *plan.warnings):
    print("-", sentence)

# %% [markdown]
# ## Elevation

# %%
Picture(sheets["elevation"][0])

# %% [markdown]
# ## The old rhythm and the planned one

# %%
Picture(sheets["rhythm"][0])

# %% [markdown]
# ## Setting out the new bricks

# %%
layout = layout_frame(plan)
columns = [
    "ring",
    "course",
    "source",
    "width_intrados_mm",
    "joint_after_intrados_mm",
    "station_start_mm",
    "from_crown_mm",
    "bed_angle_deg",
]
layout.loc[layout["source"].isin(["new"]), columns].head(12).round(1)

# %% [markdown]
# ## Templets

# %%
cuts_frame(plan)

# %% [markdown]
# ## Order of laying, first steps

# %%
laying_frame(plan)[["step", "ring", "course", "side", "from_springing_mm", "bevel_deg", "check"]].head(8)

# %% [markdown]
# ## What to order

# %%
quantities_frame(plan)

# %% [markdown]
# ## Before anyone lifts a tool

# %%
for caution in plan.cautions:
    print("-", caution)
