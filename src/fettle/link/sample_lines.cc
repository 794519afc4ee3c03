#include "fettle/link/sample_lines.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/link/scpi.h"

namespace fettle::link {
namespace {

constexpr double kLongest_s = 30 * 86400;  // seconds since the run began; beyond is another kind of number

std::vector<std::string_view> fields_of(std::string_view line) {
    // Commas, semicolons and tabs keep empty fields; else runs of blanks part them.
    const auto hard = line.find_first_of(",;\t");
    std::vector<std::string_view> out;
    if (hard != std::string_view::npos) {
        const char at = line[hard];
        while (true) {
            const auto n = line.find(at);
            out.push_back(trim(line.substr(0, n)));
            if (n == std::string_view::npos) return out;
            line.remove_prefix(n + 1);
        }
    }
    for (line = trim(line); !line.empty(); line = trim(line)) {
        const auto n = std::min(line.find(' '), line.size());
        out.push_back(line.substr(0, n));
        line.remove_prefix(n);
    }
    return out;
}

bool says_none(std::string_view f) {
    return f.empty() || f == "nan" || f == "NaN" || f == "NAN" || f == "-";
}

}  // namespace

Result<std::optional<SupplySample>> parse_sample(std::string_view line, int number, UnixMs came, UnixMs origin) {
    const auto bad = [&](std::string problem) {
        return bad_input("sample-not-understood", fmt::format("line {}", number), std::move(problem),
                         "a line is TIME,VOLTS,AMPS or VOLTS,AMPS; times as 2026-11-25T09:03:00Z or in seconds since "
                         "the run began");
    };
    line = without_mark(trim(line));
    if (line.empty() || line.front() == '#') return std::nullopt;
    const auto fields = fields_of(line);
    if (fields.size() != 2 && fields.size() != 3) return bad(fmt::format("{} fields, expected 2 or 3", fields.size()));
    SupplySample s;
    s.t = came;
    const auto figure = [](std::string_view f, double most, double& into) {
        if (says_none(f)) return true;
        const auto v = scpi::number(f);
        if (!v || std::abs(*v) > most) {
            // Infinity and not-a-number as supplies write them are no reading; anything else is no figure.
            return !f.empty() && f.find_first_not_of("+-.0123456789eE") == std::string_view::npos && !v;
        }
        into = *v < 0 && *v > -0.1 ? 0 : *v;
        return true;
    };
    const bool read = figure(fields[fields.size() - 2], scpi::most_V, s.volts) &&
                      figure(fields[fields.size() - 1], scpi::most_A, s.amps);
    if (!read) {
        const bool words = number == 1 && line.find_first_of("0123456789") == std::string_view::npos;
        if (words) return std::nullopt;
        return bad(fmt::format("\"{}\" holds something that is no figure of volts and amperes",
                               printable(line.substr(0, 60))));
    }
    if (fields.size() == 3) {
        const auto seconds = scpi::number(fields[0]);
        if (seconds && std::abs(*seconds) <= kLongest_s) {
            s.t = origin + static_cast<UnixMs>(std::llround(*seconds * 1000));
        } else if (const auto at = parse_iso8601(fields[0])) {
            s.t = *at;
        } else {
            return bad(fmt::format("\"{}\" is no time", printable(fields[0].substr(0, 40))));
        }
    }
    return s;
}

void SampleLines::line(std::string_view text, UnixMs now) {
    ++number_;
    auto s = parse_sample(text, number_, now, origin_);
    const auto complain = [&](Error e) {
        ++bad_lines_;
        if (!bad_) bad_ = std::move(e);
    };
    if (!s) return complain(std::move(s.error()));
    if (!*s) return;
    SupplySample sample = **s;
    // Without a time of its own a reading is of now, also when this machine's clock was set back meanwhile.
    const bool of_now = sample.t == now && waiting_.empty();
    if (sample.t < newest_ && !of_now) {
        return complain(Error{
            ErrorKind::bad_input, "samples-run-backwards", fmt::format("line {}", number_),
            fmt::format("its time is {:.1f} s before the line above", static_cast<double>(newest_ - sample.t) / 1000),
            "readings are taken in order of time; this one is left out"});
    }
    newest_ = sample.t;
    waiting_.push_back(sample);
}

void SampleLines::feed(std::string_view bytes, UnixMs now) {
    while (!bytes.empty()) {
        const auto n = bytes.find('\n');
        const std::string_view part = bytes.substr(0, n);
        if (!skipping_ && half_.size() + part.size() > longest_sample_line) {
            skipping_ = true;
            half_.clear();
            ++bad_lines_;
            if (!bad_)
                bad_ = Error{ErrorKind::bad_input, "sample-not-understood", fmt::format("line {}", number_ + 1),
                             fmt::format("longer than {} bytes", longest_sample_line),
                             "a line is TIME,VOLTS,AMPS or VOLTS,AMPS"};
        }
        if (!skipping_) half_ += part;
        if (n == std::string_view::npos) return;
        if (skipping_) {
            ++number_;
            skipping_ = false;
        } else {
            line(half_, now);
        }
        half_.clear();
        bytes.remove_prefix(n + 1);
    }
}

void SampleLines::end() {
    if (!half_.empty() && !skipping_) line(half_, newest_);
    half_.clear();
}

Result<std::vector<SupplySample>> SampleLines::take(UnixMs now) {
    if (bad_) {
        Error e = std::move(*bad_);
        if (bad_lines_ > 1) e.problem += fmt::format("; {} lines in all were left out", bad_lines_);
        bad_.reset();
        bad_lines_ = 0;
        return tl::unexpected(std::move(e));
    }
    std::vector<SupplySample> out;
    while (!waiting_.empty() && waiting_.front().t <= now) {
        out.push_back(waiting_.front());
        waiting_.pop_front();
    }
    return out;
}

}  // namespace fettle::link
