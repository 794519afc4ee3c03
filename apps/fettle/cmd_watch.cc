#include "cmd_watch.h"

#include <algorithm>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/show/wall.h"
#include "fettle/show/watch.h"
#include "fettle/workshop/wall.h"
#include "terminal.h"

namespace fettle::app {
namespace {

Result<Answer> all_runs(const Context& context, const WatchOptions& o) {
    workshop::WallRequest request;
    request.lead_s = 60 * o.lead_min;
    request.hands_s = 60 * o.hands_min;
    request.certainty = o.certainty;
    for (const std::string& text : o.windows) {
        auto w = watch::parse_hands_window(text);
        if (!w) return pass(w);
        request.windows.push_back(std::move(*w));
    }
    if (o.next.find('=') == std::string::npos) {
        request.next = o.next;
    } else {
        auto w = watch::parse_hands_window(o.next);
        if (!w) return pass(w);
        request.next_window = std::move(*w);
    }
    const auto found = workshop::wall_of(context, request);
    if (!found) return pass(found);
    return show::wall(*found, o.width, o.ascii);
}

// A run that stays, or one look.
Result<Answer> looked_at(const Context& context, const WatchOptions& o) {
    const bool stays = !o.once && o.svg.empty() && (on_terminal(context) || o.stay);
    if (!o.listen.empty() && !stays)
        return usage_error("listen-without-staying", "--listen", "other testers are heard only while the watch stays",
                           "leave --once and --svg out, and give --stay where there is no terminal");
    const auto look = stays ? stay_with_run(context, o)
                            : workshop::look_at_run(context, {o.job, o.supply, {60 * o.lead_min, o.certainty}});
    if (!look) return pass(look);
    Answer a = show::run_looked_at(*look, style_of(o));
    if (o.svg.empty()) return a;
    if (auto ok = write_file_durably(o.svg, look->follow.follow().strip_svg(look->where)); !ok) return pass(ok);
    a.data["svg"] = o.svg;
    return a;
}

}  // namespace

watch::StripStyle style_of(const WatchOptions& options) {
    return {std::clamp(options.width, 48, 400), options.ascii, true};
}

Result<Answer> watch_run(Context& context, const WatchOptions& options) {
    if (options.all) return all_runs(context, options);
    if (options.job.empty())
        return usage_error(
            "job-missing", "watch", "no job is named",
            Next{propose(Act::watch, {wanted("job", "J")}), ", or ", propose(Act::watch, {flag("all")})});
    if (options.test_call) return test_call(context, options);
    if (options.start) {
        const auto started =
            workshop::start_run(context, {options.job, options.step, options.by, options.ago_s, options.against_halt});
        if (!started) return pass(started);
        if (!started->begun) return show::not_started(*started);
    }
    if (options.attach) return attach_to_run(context, options);
    auto a = looked_at(context, options);
    if (a && options.start) a->data["begun"] = true;
    return a;
}

}  // namespace fettle::app
