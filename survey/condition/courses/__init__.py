"""One ring, course by course: edges, deviations, joints, beds and notes."""
