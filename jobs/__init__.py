"""Systems, cable types, reels, structures, positions, jobs and schedules: records that know no other package."""
