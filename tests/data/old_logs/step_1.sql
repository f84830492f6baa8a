INSERT INTO setting VALUES ('timezone', 'Europe/London');
INSERT INTO entry VALUES
    (1, '01900000-0000-7000-8000-000000000001', '2026-01-05 08:00:00', 'Ash', 'terminal', 'sheet and people'),
    (2, '01900000-0000-7000-8000-000000000002', '2026-01-05 09:00:00.123456', 'Ash', 'bench', 'reading'),
    (3, '01900000-0000-7000-8000-000000000003', '2026-01-05 08:59:59', 'Ash', 'bench', 'correction'),
    (4, '01900000-0000-7000-8000-000000000004', '2026-01-06 09:00:00', 'Heron', 'terminal', 'strike; comeback');
INSERT INTO person VALUES ('Ash', 'technician', 1), ('Heron', 'inspector', 1);
INSERT INTO gauge VALUES ('FG-1', 'feeler', 'thou', 1.0, '15 16 17 18', '2027-01-01', 1);
INSERT INTO gauge_check VALUES
    ('01900000-0000-7000-8000-000000000011', 'FG-1', '2026-01-05 08:30:00', 'check', 20, 20.1, 'thou', 'Heron', NULL, 1);
INSERT INTO sheet VALUES ('XY-1', '1', NULL, 'code = "XY-1"
name = "A gearbox"
family = "tractor"
version = "1"

[[characteristic]]
code = "float"
name = "End float"
unit = "thou"
step = 1.0
stages = ["final"]
limits.any = { lower = 4, upper = 20 }
', 1);
INSERT INTO job VALUES ('J-1', 'XY-1', '2026-01-05 08:00:00', 1), ('J-2', 'XY-1', '2026-01-05 08:00:00', 1);
INSERT INTO job_detail VALUES
    ('01900000-0000-7000-8000-000000000021', 'J-1', 'case_serial', 'S-9', NULL, 1),
    ('01900000-0000-7000-8000-000000000022', 'J-1', 'concession', 'accepted as it is', 'old casting', 4);
INSERT INTO part VALUES ('01900000-0000-7000-8000-000000000031', 'J-1', 'bearing', 'B-7', 'Östra', 'new', 'J-2', 1);
INSERT INTO reading VALUES
    ('01900000-0000-7000-8000-000000000041', 'J-1', 'float', 'final', '', 1, '15/16', 'thou', 'bracket', 15, 16, 'thou',
        NULL, 'FG-1', 'Ash', '2026-01-05 09:00:00', 'dry', 'swarf', NULL, NULL, 2),
    ('01900000-0000-7000-8000-000000000042', 'J-1', 'float', 'final', '', 2, '0.4 mm', 'mm', 'point',
        15.748031496062993, 15.748031496062993, 'thou', NULL, 'FG-1', 'Ash', '2026-01-05 09:01:00', NULL, NULL, 1,
        'mistyped', 3),
    ('01900000-0000-7000-8000-000000000043', 'J-2', 'float', 'final', '', 1, 'not accessible', NULL, 'none', NULL, NULL,
        'thou', NULL, NULL, 'Ash', '2026-01-05 09:02:00', NULL, NULL, NULL, NULL, 3);
INSERT INTO strike VALUES ('01900000-0000-7000-8000-000000000051', '01900000-0000-7000-8000-000000000043', 'Heron', 'wrong job', 4);
INSERT INTO comeback VALUES
    ('01900000-0000-7000-8000-000000000061', 'J-1', '2026-03-01 00:00:00', 'noisy', NULL, 'open', 120.5, 4);
