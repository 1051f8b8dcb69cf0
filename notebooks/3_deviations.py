# %% [markdown]
# # 3 · Deviations: course by course
#
# Where the arch departs from its curve, which courses slipped, what is missing and what moved. A deviation is
# positive away from the opening. A course is flagged only when it is off by more than its own uncertainty and
# more than the job's tolerance.

# %%
from survey.condition import map_deviations
from survey.fitting import fit_arch
from survey.record import read_record
from survey.sheets.condition.deviation_sheet import deviation_sheet
from survey.sheets.condition.soffit_sheet import soffit_sheet
from survey.sheets.render.picture import Picture
from survey.sheets.results.frames import deviations_frame
from survey.shipped import demo_record

record = read_record(demo_record("cellar_doorway"))
fit = fit_arch(record)
map_ = map_deviations(record, fit)

# %% [markdown]
# ## The map

# %%
Picture(deviation_sheet(record, fit, map_))

# %% [markdown]
# ## The soffit unrolled
# Deviation, lip, joint and face offset against the station along the intrados.

# %%
Picture(soffit_sheet(record, map_))

# %% [markdown]
# ## What it shows

# %%
for pattern in map_.patterns:
    print("-", pattern.sentence)
for worst in map_.worst[:5]:
    print(f"- ring {worst.ring}, course {worst.course}: {worst.what}, {worst.how_much}. {worst.todo}")

# %% [markdown]
# ## The table behind it

# %%
table = deviations_frame(map_)
table[
    ["ring", "course", "station_mm", "deviation_mm", "deviation_sigma_mm", "joint_mm", "condition", "flag"]
].head(12)
