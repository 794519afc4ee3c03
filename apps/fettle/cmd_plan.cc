#include "cmd_plan.h"

#include <fmt/core.h>

#include <cmath>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/show/plan_picture.h"
#include "fettle/workshop/fits_by.h"
#include "typed_list.h"

namespace fettle::app {

Result<Answer> plan(Context& context, const PlanOptions& options) {
    if (!std::isfinite(options.style.cuts_per_hour))
        return usage_error("cuts-range", "--cut-rate", "this is no rate of power cuts", "give a number from 0 to 60");
    std::optional<UnixMs> by;
    if (!options.by.empty()) {
        const auto at = workshop::time_ahead(options.by, context.clock->now());
        if (!at) return pass(at);
        by = *at;
    }
    workshop::PlanAsk ask = options.ask;
    ask.job = context.job;
    ask.fed = workshop::feeding_of(options.fed);
    for (const auto& [file, list] : {std::pair{&options.as_found, &ask.as_found}, {&options.offered, &ask.offered}}) {
        if (file->empty()) continue;
        auto text = typed_list(*file);
        if (!text) return pass(text);
        *list = std::move(*text);
    }
    const auto planned = workshop::plan_job(context, ask);
    if (!planned) return pass(planned);
    Answer a = show::planned(*planned, options.style);
    if (by && planned->plan)
        show::add_fits(*by,
                       workshop::fits_by(*planned->plan, *planned->unit.family,
                                         static_cast<double>(*by - context.clock->now()) / 1000),
                       a);
    if (!options.picture.empty() && planned->plan) {
        const std::string svg = show::plan_as_svg(*planned->plan, *planned->unit.family);
        if (const Status s = write_file_durably(options.picture, svg); !s) return pass(s);
        a.data["picture"] = options.picture;
        a.text += fmt::format("  picture     {}\n", printable(options.picture));
    }
    return a;
}

}  // namespace fettle::app
