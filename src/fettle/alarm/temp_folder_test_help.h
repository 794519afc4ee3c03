// For tests of this room: a folder that goes with the test, and programs in it that write down how they were called.
#pragma once

#include <sys/stat.h>

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <optional>
#include <sstream>
#include <string>
#include <thread>
#include <utility>
#include <vector>

namespace fettle::alarm {

struct TempFolder {
    TempFolder() {
        std::string pattern = (std::filesystem::temp_directory_path() / "fettle-alarm-XXXXXX").string();
        path = mkdtemp(pattern.data());
    }
    ~TempFolder() { std::filesystem::remove_all(path); }
    TempFolder(const TempFolder&) = delete;
    TempFolder& operator=(const TempFolder&) = delete;

    std::string read(const std::string& name) const {
        std::ifstream in(path / name);
        std::ostringstream out;
        out << in.rdbuf();
        return out.str();
    }
    // A program of that name; it runs `script` by the shell, with HERE set to this folder.
    void program(const std::string& name, const std::string& script) const {
        std::ofstream(path / name) << "#!/bin/sh\nHERE='" << path.string() << "'\n" << script << "\n";
        ::chmod((path / name).c_str(), 0755);
    }
    std::filesystem::path path;
};

// The environment as a test wants it, put back at its end.
class Environment {
public:
    void set(const char* name, const char* value) {
        const char* had = std::getenv(name);
        before_.push_back({name, had ? std::optional<std::string>(had) : std::nullopt});
        value ? ::setenv(name, value, 1) : ::unsetenv(name);
    }
    ~Environment() {
        for (auto it = before_.rbegin(); it != before_.rend(); ++it)
            it->second ? ::setenv(it->first.c_str(), it->second->c_str(), 1) : ::unsetenv(it->first.c_str());
    }

private:
    std::vector<std::pair<std::string, std::optional<std::string>>> before_;
};

// Waits for it, at most ten seconds.
template <typename Is>
bool comes(Is is) {
    for (int i = 0; i < 1000; ++i) {
        if (is()) return true;
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    return false;
}

}  // namespace fettle::alarm
