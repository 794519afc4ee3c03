// A run that is watched: one look as a page and as JSON, what stands against a start, the lines that a watch which
// stays draws at each tick, and what became of attaching and of a test call.
#pragma once

#include <string>
#include <vector>

#include "fettle/show/answer.h"
#include "fettle/watch/strip.h"
#include "fettle/workshop/attach_to_run.h"
#include "fettle/workshop/look_at_run.h"
#include "fettle/workshop/start_run.h"

namespace fettle::show {

Answer run_looked_at(const workshop::RunLook& look, watch::StripStyle style);
Answer not_started(const workshop::Started& started);

// Strip, reasons and notes, no wider than the style.
std::vector<std::string> tick_lines(const watch::Follow& follow, const watch::Where& where,
                                    const std::vector<std::string>& notes, const watch::StripStyle& style);

// The watch fell silent.
Answer watch_silent(const std::string& job, const workshop::AttachToRun::Tick& tick);
Answer watch_heard_to_end();
Answer test_called(const workshop::TestCalled& called);

}  // namespace fettle::show
