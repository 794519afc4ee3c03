#include "cmd_card.h"

#include <fmt/core.h>
#include <unistd.h>

#include <charconv>
#include <cstdio>

#include "fettle/base/text.h"
#include "fettle/show/card.h"
#include "fettle/show/gauge.h"
#include "terminal.h"

namespace fettle::app {
namespace {

// On standard error, so that it is seen beside a redirected answer; nothing where nobody can be asked.
std::string ask_at_terminal(const Context& context, const std::string& question) {
    if (context.json || ::isatty(STDIN_FILENO) != 1 || ::isatty(STDERR_FILENO) != 1) return {};
    std::fprintf(stderr, "%s", question.c_str());
    std::fflush(stderr);
    return line_from_person().value_or("");
}

std::string ask_to_erase(const Context& context, const workshop::EraseQuestion& question) {
    context.say(show::erase_page(question));
    return ask_at_terminal(context, fmt::format("To have it erased {}, type the last four characters of its {}: ",
                                                question.purpose, question.to_type()));
}

}  // namespace

Result<std::uint64_t> size_from(const std::string& text) {
    std::uint64_t n = 0;
    const auto [end, ec] = std::from_chars(text.data(), text.data() + text.size(), n);
    std::string unit = upper(std::string_view(end, text.data() + text.size()));
    if (unit.ends_with("IB"))
        unit.resize(unit.size() - 2);
    else if (unit.ends_with("B"))
        unit.resize(unit.size() - 1);
    const int shift = unit.empty() ? 0 : unit == "K" ? 10 : unit == "M" ? 20 : unit == "G" ? 30 : -1;
    // 16 TiB: beyond any card, and no overflow below.
    if (ec != std::errc() || n == 0 || shift < 0 || n > (std::uint64_t{1} << 44) >> shift)
        return usage_error("card-size-wrong", "--size",
                           fmt::format("'{}' is no size; expected bytes or a number with K, M or G", printable(text)),
                           "give for example 512M, or leave it out");
    return n << shift;
}

Result<Answer> card_lay(const Context& context, const CardLayOptions& options) {
    workshop::LayRequest request = options.ask;
    request.job = context.job;
    request.consent.ask = [&](const workshop::EraseQuestion& q) { return ask_to_erase(context, q); };
    if (!options.size.empty()) {
        const auto size = size_from(options.size);
        if (!size) return pass(size);
        request.size_bytes = *size;
    }
    const auto laid = workshop::lay_card(context, request);
    if (!laid) return pass(laid);
    return show::laid(*laid);
}

Result<Answer> card_audit(const Context& context, const workshop::AuditRequest& typed) {
    auto request = typed;
    request.job = context.job;
    const auto audited = workshop::audit_card(context, request);
    if (!audited) return pass(audited);
    return show::audited(*audited);
}

Result<Answer> card_devices(const Context& context, const CardDevicesOptions& options) {
    const auto list = workshop::list_devices(context, options.family);
    if (!list) return pass(list);
    return show::devices(*list, options.all);
}

Result<Answer> card_gauge(const Context& context, const workshop::GaugeRequest& typed) {
    auto request = typed;
    request.job = context.job;
    request.consent.ask = [&](const workshop::EraseQuestion& q) { return ask_to_erase(context, q); };
    request.put_back = [&] {
        return ask_at_terminal(context, "Pull the card, put it back in, then type y (anything else: later): ") == "y";
    };
    const auto gauged = workshop::gauge_card(context, request);
    if (!gauged) return pass(gauged);
    return show::gauged(*gauged);
}

}  // namespace fettle::app
