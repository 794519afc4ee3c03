#include "cmd_job.h"

#include "fettle/show/job.h"
#include "fettle/show/order.h"

namespace fettle::app {
namespace {

Result<std::vector<Keeping>> things_typed(const std::vector<std::string>& texts) {
    std::vector<Keeping> out;
    for (const std::string& text : texts) {
        auto thing = workshop::thing_typed(text);
        if (!thing) return pass(thing);
        out.push_back(std::move(*thing));
    }
    return out;
}

}  // namespace

Result<Answer> job_open(const Context& context, const JobOpenOptions& options) {
    auto request = options.ask;
    auto things = things_typed(options.keep);
    if (!things) return pass(things);
    request.keep = std::move(*things);
    const auto taken = workshop::take_in(context, request);
    if (!taken) return pass(taken);
    return show::taken_in(*taken);
}

Result<Answer> job_list(const Context& context) {
    const auto list = workshop::list_jobs(context);
    if (!list) return pass(list);
    return show::job_list(*list);
}

Result<Answer> job_show(const Context& context, const JobShowOptions& options) {
    const auto shown = workshop::show_job(context, options.job);
    if (!shown) return pass(shown);
    return show::job_shown(*shown, options.entries);
}

Result<Answer> job_note(const Context& context, const JobNoteOptions& o) {
    if (o.correct) {
        const auto corrected =
            workshop::correct_entry(context, {o.job, *o.correct, o.field, o.value, o.why, o.by, o.text});
        if (!corrected) return pass(corrected);
        return show::corrected(*corrected);
    }
    const auto noted = workshop::note_job(context, {o.job, o.text, o.by});
    if (!noted) return pass(noted);
    return show::noted(*noted);
}

Result<Answer> job_keep(const Context& context, const JobKeepOptions& options) {
    auto things = things_typed(options.things);
    if (!things) return pass(things);
    const auto kept = workshop::keep_things(context, {options.job, std::move(*things)});
    if (!kept) return pass(kept);
    return show::things_kept(*kept);
}

Result<Answer> job_return(const Context& context, const workshop::ReturnRequest& request) {
    const auto returned = workshop::return_thing(context, request);
    if (!returned) return pass(returned);
    return show::thing_returned(*returned);
}

Result<Answer> job_order(const Context& context, const workshop::OrderRequest& request) {
    const auto ordered = workshop::order_jobs(context, request);
    if (!ordered) return pass(ordered);
    return show::jobs_ordered(*ordered);
}

Result<Answer> job_consent(const Context& context, const workshop::ConsentRequest& request) {
    const auto consented = workshop::note_consent(context, request);
    if (!consented) return pass(consented);
    return show::consented(*consented);
}

Result<Answer> job_loose_ends(const Context& context, const JobLooseEndsOptions& o) {
    if (!o.settle.empty() && !o.sign.empty())
        return usage_error("loose-end-name", "--settle, --sign", "only one at a time", "give one of the two");
    if (!o.settle.empty()) {
        const auto done = workshop::settle_loose_end(context, {o.job, o.settle, o.how, o.by});
        if (!done) return pass(done);
        return show::end_settled(*done);
    }
    if (!o.sign.empty()) {
        const auto done = workshop::sign_loose_end(context, {o.job, o.sign, o.reason, o.by});
        if (!done) return pass(done);
        return show::end_signed(*done);
    }
    const auto ends = workshop::loose_ends(context, o.job);
    if (!ends) return pass(ends);
    return show::loose_ends(*ends);
}

}  // namespace fettle::app
