# %% [markdown]
# # 1 · Record: what stands
#
# The demo is an invented granary's cellar doorway: an elliptical brick arch of three rings, the middle one
# sawtooth, with a run of bricks missing near the left haunch. Put the path of your own record folder in place
# of the demo's and run all cells.
#
# Do not enter or measure under a loose arch before it is propped.

# %%
from survey.record import check_record, read_record
from survey.sheets.record.survey_sheet import survey_sheet
from survey.sheets.render.picture import Picture
from survey.sheets.results.frames import points_frame
from survey.shipped import demo_record

folder = demo_record("cellar_doorway")

# %% [markdown]
# ## Is it all there?
# Faults stop the work; doubts say what to measure again while you are still on site.

# %%
report = check_record(folder)
print(report.status)
for finding in (*report.faults, *report.doubts):
    print("-", finding)

# %% [markdown]
# ## What was measured, in the face of the wall
# Every mark is a surveyed point, drawn by what it was taken on. Left is left as seen from outside.

# %%
record = read_record(folder)
Picture(survey_sheet(record))

# %% [markdown]
# ## The same as a table
# Millimetres in the face: x right, y up, w towards you. Ring and course are -1 where they were not recorded.

# %%
points_frame(record).head(12).round(1)
