-- The third shape: how often that was written from which rates are learned and figures are made, so that whoever keeps
-- these in mind knows when they have to be worked out anew, whoever wrote.

CREATE TABLE written (
    what TEXT PRIMARY KEY CHECK (what IN ('learned', 'figures')),
    times INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO written VALUES ('learned', 0), ('figures', 0);

CREATE TRIGGER written_finding AFTER INSERT ON finding BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER rewritten_finding AFTER UPDATE ON finding BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER removed_finding AFTER DELETE ON finding BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER written_exposure AFTER INSERT ON exposure BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER rewritten_exposure AFTER UPDATE ON exposure BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER removed_exposure AFTER DELETE ON exposure BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER written_machine AFTER INSERT ON machine BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER rewritten_machine AFTER UPDATE ON machine BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER removed_machine AFTER DELETE ON machine BEGIN UPDATE written SET times = times + 1; END;
-- A type's current version is set when a version comes or is taken again.
CREATE TRIGGER written_type AFTER UPDATE ON machine_type BEGIN UPDATE written SET times = times + 1; END;
CREATE TRIGGER written_call AFTER INSERT ON call BEGIN
    UPDATE written SET times = times + 1 WHERE what = 'figures';
END;
-- What is said in a call changes no figure; when it began and ended does.
CREATE TRIGGER rewritten_call AFTER UPDATE OF began, closed, machine, site ON call BEGIN
    UPDATE written SET times = times + 1 WHERE what = 'figures';
END;
