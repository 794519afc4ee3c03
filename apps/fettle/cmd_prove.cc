#include "cmd_prove.h"

#include "fettle/show/faults.h"
#include "fettle/show/prove.h"
#include "typed_list.h"

namespace fettle::app {

Result<Answer> as_left(Context& context, const AsLeftOptions& options) {
    workshop::AfterRequest request{options.job, {}, options.release, {}, options.withdraw};
    if (!options.typed.empty()) {
        auto list = typed_list(options.typed);
        if (!list) return pass(list);
        request.list = std::move(*list);
    }
    if (!options.history.empty()) request.history = words_between_commas(options.history);
    const auto left = workshop::keep_as_left(context, request);
    if (!left) return pass(left);
    return show::as_left(*left);
}

Result<Answer> faults(Context& context, const FaultsOptions& options) {
    if (options.none_read == !options.typed.empty())
        return usage_error("faults-not-said", "--typed", "one of --typed and --none-read was expected",
                           "type the entries, or the word none when the memory was read and is empty; --none-read when "
                           "it was not read");
    workshop::TypedFaults request = options.ask;
    if (!options.none_read) request.typed = options.typed;
    const auto kept = workshop::keep_typed_faults(context, request);
    if (!kept) return pass(kept);
    return show::faults_kept(*kept);
}

Result<Answer> prove_job(Context& context, const ProveOptions& options) {
    const auto proved = workshop::prove_job(context, options);
    if (!proved) return pass(proved);
    return show::proved(*proved, options.full);
}

}  // namespace fettle::app
