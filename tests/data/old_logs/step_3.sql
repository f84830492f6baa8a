INSERT INTO entry VALUES (6, '01900000-0000-7000-8000-000000000006', '2026-01-08 09:00:00', 'Heron', 'bench', 'notes');
INSERT INTO finding_note VALUES
    ('01900000-0000-7000-8000-000000000091', 'lot-lot-B-7', 'closed', 'soft cage', 'sent back', NULL, 'Heron',
        '2026-01-08 09:00:00', 6);
INSERT INTO change VALUES
    ('01900000-0000-7000-8000-0000000000a1', 'new setup', 'XY-1', 'float', NULL, NULL, '2026-01-08 00:00:00', NULL,
        'Heron', 6);
