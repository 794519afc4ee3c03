// Reading the members of an entry's data: asks in plain calls, remembers the first thing that was not as expected.
#pragma once

#include <boost/json/fwd.hpp>
#include <boost/json/object.hpp>
#include <cstdint>
#include <functional>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"

namespace fettle::book {

class Members {
public:
    // `place` names the object in messages: "entry 4 (planned)". The object must outlive this.
    Members(const boost::json::object& object, std::string place) : object_(object), place_(std::move(place)) {}

    // Required; on failure an empty or zero value is returned and the failure remembered. A text may also be given as a
    // whole number ("customer": 1007).
    std::string text(std::string_view key);
    std::int64_t whole(std::string_view key);
    Verdict verdict(std::string_view key);

    // Absent or null gives the fallback; another kind is a failure.
    std::string text_or(std::string_view key, std::string otherwise = {});
    std::optional<std::int64_t> whole_if(std::string_view key);
    std::optional<int> byte_if(std::string_view key);  // 40, or in hex "28" or "0x28"
    double number_or(std::string_view key, double otherwise = 0);
    bool flag(std::string_view key);
    bool has(std::string_view key) { return find(key) != nullptr; }
    std::string object_if(std::string_view key);  // as JSON text; empty when absent
    std::vector<std::string> texts(std::string_view key);
    std::vector<Reason> reasons(std::string_view key);
    void each(std::string_view key, const std::function<void(Members&)>& take);  // objects of a list
    void each_member(std::string_view key, const std::function<void(std::string_view, std::string)>& take);

    // Every member that was asked for so far, there or not.
    const std::set<std::string, std::less<>>& asked() const { return asked_; }

    void fail(std::string_view key, std::string_view expected);
    Status status() const;

private:
    const boost::json::value* find(std::string_view key) const;  // nullptr when absent or null

    const boost::json::object& object_;
    std::string place_;
    std::optional<Error> first_;
    mutable std::set<std::string, std::less<>> asked_;
};

}  // namespace fettle::book
