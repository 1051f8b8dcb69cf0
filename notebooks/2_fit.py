# %% [markdown]
# # 2 · Fit: the curve it was set out to
#
# Each family of curve is fitted by orthogonal least squares. Read off the verdict and its reason first, then
# the figures with their standard uncertainties, then the residuals: a curve that fits well leaves no shape
# behind.

# %%
import pandas as pd

from survey.curves import setting_out
from survey.fitting import fit_arch
from survey.record import read_record
from survey.sheets.fit.fit_sheet import fit_sheet
from survey.sheets.render.picture import Picture
from survey.shipped import demo_record

record = read_record(demo_record("cellar_doorway"))
fit = fit_arch(record)
print(fit.verdict.because)

# %% [markdown]
# ## The candidates over the points

# %%
Picture(fit_sheet(record, fit))

# %% [markdown]
# ## Figures of the chosen curve
# Value and standard uncertainty; the true value lies within twice the uncertainty about 19 times in 20.

# %%
figures = fit.best.figures
pd.DataFrame(
    {
        "value": [f.value for f in figures.values()],
        "standard uncertainty": [f.sigma for f in figures.values()],
    },
    index=list(figures),
).round(2)

# %% [markdown]
# ## How to strike it

# %%
for sentence in setting_out(fit.best.shape).sentences():
    print("-", sentence)

# %% [markdown]
# ## How many courses
# Counted on site, or inferred from the rhythm where they could not be.

# %%
for count in fit.courses:
    how = "counted" if count.counted else "inferred"
    print(f"ring {count.ring}: {count.count} courses, {how}. {count.doubt}")
