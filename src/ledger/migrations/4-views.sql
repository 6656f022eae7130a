-- What holds now, for any program that reads SQLite.
CREATE VIEW current_placement AS
SELECT p.photo_id, p.tank, p.date, p.action_id
FROM placement p
WHERE p.placement_id = (SELECT max(q.placement_id) FROM placement q WHERE q.photo_id = p.photo_id);

CREATE VIEW current_layer AS
SELECT s.photo_id, s.layer_id
FROM selection s
WHERE s.selection_id = (SELECT max(t.selection_id) FROM selection t WHERE t.photo_id = s.photo_id);

CREATE VIEW current_tank AS
SELECT t.tank, t.species, t.volume_l, t.hatch_date, t.stocked_date, t.stocked_number, t.temperature_c,
    t.screen_mm, t.treatments, t.notes
FROM tank t
WHERE t.present = 1
  AND t.tank_row_id = (SELECT max(u.tank_row_id) FROM tank u WHERE u.tank = t.tank);

CREATE VIEW current_event AS
SELECT e.uid, e.date, e.time, e.tank, e.what, e.value, e.number, e.note, e.who
FROM event e
WHERE e.present = 1
  AND e.event_row_id = (SELECT max(f.event_row_id) FROM event f WHERE f.uid = e.uid);

CREATE VIEW current_photo AS
SELECT f.name AS photo, f.sha256, p.tank, p.date, l.status, l.reason, f.width_px, f.height_px, l.lighting,
    l.mm_per_px, l.mm_per_px_se, l.scale_source, l.fish, l.sharpness, l.flags, m.name AS model,
    m.sha256 AS model_sha256, a.at AS scored_at, a.who AS scored_by, a.software, f.photo_id, l.layer_id
FROM photograph f
JOIN current_placement p USING (photo_id)
JOIN current_layer c USING (photo_id)
JOIN layer l USING (layer_id)
JOIN model m USING (model_id)
JOIN action a ON a.action_id = l.action_id;

-- The corrections that hold: not withdrawn.
CREATE VIEW current_correction AS
SELECT c.correction_id, c.uid, c.photo_id, c.layer_id, c.fish, c.kind, c.call, c.length_px, c.snout_x_px,
    c.snout_y_px, c.x_px, c.y_px, c.tail_x_px, c.tail_y_px, c.total_length_px, c.note, a.who, a.at
FROM correction c
JOIN action a USING (action_id)
WHERE c.kind <> 'withdraw'
  AND NOT EXISTS (SELECT 1 FROM correction w WHERE w.withdraws = c.uid);

-- The fish that count, each with the newest word of a person where there is one.
CREATE VIEW current_fish AS
WITH ranked AS (
    SELECT k.layer_id, k.fish,
        CASE WHEN c.kind = 'length' THEN 'length' ELSE 'call' END AS topic,
        c.kind, c.call, c.length_px, c.who,
        row_number() OVER (
            PARTITION BY k.layer_id, k.fish, CASE WHEN c.kind = 'length' THEN 'length' ELSE 'call' END
            ORDER BY c.at DESC, c.correction_id DESC) AS newest
    FROM carried k
    JOIN current_correction c USING (correction_id)
),
called AS (SELECT * FROM ranked WHERE topic = 'call' AND newest = 1),
measured AS (SELECT * FROM ranked WHERE topic = 'length' AND newest = 1)
SELECT p.photo, p.tank, p.date, f.fish, f.x_px, f.y_px, f.snout_x_px, f.snout_y_px, f.tail_x_px, f.tail_y_px,
    coalesce(g.length_px, f.total_length_px) AS total_length_px,
    f.total_length_mm * coalesce(g.length_px / f.total_length_px, 1.0) AS total_length_mm,
    f.total_length_se_mm, f.depth_mm, f.view,
    coalesce(k.call, f.call) AS call,
    f.p_inflated, f.bladder_position, f.bladder_length_mm, f.bladder_height_mm,
    CASE WHEN g.length_px IS NULL THEN f.use_length ELSE 'yes' END AS use_length,
    CASE WHEN k.call IS NULL THEN f.use_call ELSE 'yes' END AS use_call,
    f.flags, f.vessel,
    coalesce(k.who, g.who, 'model') AS caller, f.head_depth_mm,
    p.photo_id, p.layer_id
FROM current_photo p
JOIN fish f USING (layer_id)
LEFT JOIN called k ON k.layer_id = f.layer_id AND k.fish = f.fish
LEFT JOIN measured g ON g.layer_id = f.layer_id AND g.fish = f.fish
WHERE p.status <> 'refused' AND (k.kind IS NULL OR k.kind <> 'not_a_fish')
UNION ALL
-- Fish the model missed and a person added, as long as the layer has no fish at that place.
SELECT p.photo, p.tank, p.date,
    p.fish + row_number() OVER (PARTITION BY p.photo_id ORDER BY c.correction_id) AS fish,
    c.x_px, c.y_px, c.snout_x_px, c.snout_y_px, c.tail_x_px, c.tail_y_px, c.total_length_px,
    c.total_length_px * p.mm_per_px, NULL, NULL, 'unclear', c.call, NULL, NULL, NULL, NULL,
    'yes', 'yes', 'added', NULL, c.who, NULL, p.photo_id, p.layer_id
FROM current_photo p
JOIN current_correction c ON c.photo_id = p.photo_id AND c.kind = 'missed'
WHERE p.status <> 'refused' AND NOT EXISTS (
    SELECT 1 FROM carried k WHERE k.layer_id = p.layer_id AND k.correction_id = c.correction_id);
