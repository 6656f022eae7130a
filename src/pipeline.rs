//! One photograph from pixels to calls: the only place that runs the stages in turn.
