//! Who is let in, and what may be said there.

use super::{Open, PATCH};
use crate::place::Place;

/// Other users of this machine, pages of other sites and names that lead here come to nothing, and what they asked for is not in
/// what they are told.
#[test]
fn nobody_else_is_let_in() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let (port, own) = (server.port, ("Cookie", cookie.as_str()));
    let before = server.now(&cookie);
    let (name, value) = cookie.split_once('=').expect("a name");
    let wrong = format!("{name}={}", value.chars().rev().collect::<String>());
    let short = format!("{name}={}", &value[1..]);
    let other_port = format!("127.0.0.1:{}", port ^ 1);
    let bare = "127.0.0.1".to_owned();
    let local = format!("http://localhost:{port}");
    let secret = &server.secret;
    let backwards: String = secret.chars().rev().collect();
    let [wrong, short, other_port, bare, local] = [&wrong, &short, &other_port, &bare, &local].map(String::as_str);
    let refused = vec![
        // The secret and the cookie.
        ("GET /".to_owned(), Vec::<(&str, &str)>::new(), 403_u16),
        ("GET /now".to_owned(), vec![], 403),
        ("GET /events".to_owned(), vec![], 403),
        ("GET /now".to_owned(), vec![("Cookie", wrong)], 403),
        ("GET /now".to_owned(), vec![("Cookie", short)], 403),
        ("GET /now".to_owned(), vec![("Cookie", "hitgap=")], 403),
        (format!("GET /enter/{backwards}"), vec![], 403),
        (format!("GET /enter/{}", &secret[1..]), vec![], 403),
        (format!("GET /?secret={secret}"), vec![], 403),
        // The host: a name of another site that leads here (DNS rebinding).
        ("GET /now".to_owned(), vec![own, ("Host", "evil.example")], 421),
        ("GET /now".to_owned(), vec![own, ("Host", other_port)], 421),
        ("GET /now".to_owned(), vec![own, ("Host", bare)], 421),
        (format!("GET /enter/{secret}"), vec![("Host", "evil.example")], 421),
        (format!("GET http://evil.example:{port}/now"), vec![own], 421),
        ("GET /now".to_owned(), vec![own, ("Host", "")], 400),
        // Another page that asks in the name of its visitor.
        ("GET /now".to_owned(), vec![own, ("Origin", "http://evil.example")], 403),
        ("GET /now".to_owned(), vec![own, ("Origin", "null")], 403),
        ("GET /now".to_owned(), vec![own, ("Origin", local)], 403),
        ("GET /now".to_owned(), vec![own, ("Sec-Fetch-Site", "cross-site")], 403),
        ("GET /now".to_owned(), vec![own, ("Sec-Fetch-Site", "same-site")], 403),
        (format!("GET /enter/{secret}"), vec![("Sec-Fetch-Site", "cross-site")], 403),
        // Methods, bodies, paths.
        ("POST /now".to_owned(), vec![own], 405),
        ("PUT /".to_owned(), vec![own], 405),
        ("DELETE /now".to_owned(), vec![own], 405),
        ("OPTIONS /now".to_owned(), vec![own], 405),
        ("HEAD /now".to_owned(), vec![own], 405),
        ("GET /now".to_owned(), vec![own, ("Content-Length", "1")], 413),
        ("GET /now".to_owned(), vec![own, ("Transfer-Encoding", "chunked")], 413),
        ("GET /patches/late-bell.toml".to_owned(), vec![own], 404),
        ("GET /../Cargo.toml".to_owned(), vec![own], 404),
        ("GET /%2e%2e/%2e%2e/etc/passwd".to_owned(), vec![own], 404),
        ("GET /enter/".to_owned(), vec![own], 404),
        ("GET //".to_owned(), vec![own], 404),
    ];
    for (first, headers, status) in refused {
        let answer = server.ask(&first, &headers);
        // What is no HTTP never comes as far as our own answers.
        if status != 400 {
            assert_eq!(answer.status, status, "{first} {headers:?}: {answer:?}");
            assert_eq!(answer.header("content-security-policy"), Some("default-src 'none'; frame-ancestors 'none'"));
        }
        assert!(answer.status >= 400 && answer.body.len() < 100, "{first} {headers:?}: {answer:?}");
        assert!(answer.header("set-cookie").is_none() && answer.header("access-control-allow-origin").is_none());
        assert!(!answer.body.contains("Wren"), "{first}");
    }
    assert_eq!(server.now(&cookie), before);
}

#[test]
fn who_has_the_secret_gets_the_page_under_a_strict_policy() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let (own, host) = (("Cookie", cookie.as_str()), format!("127.0.0.1:{}", server.port));
    let origin = format!("http://{host}");
    let others = format!("theirs=1; {cookie}; more=2");
    for headers in [
        vec![own],
        vec![own, ("Host", host.as_str()), ("Origin", origin.as_str()), ("Sec-Fetch-Site", "same-origin")],
        vec![("Cookie", others.as_str()), ("Sec-Fetch-Site", "none")],
    ] {
        let answer = server.ask("GET /", &headers);
        assert_eq!(answer.status, 200, "{headers:?}");
        assert!(answer.body.contains("<title>The late bell</title>") && !answer.body.contains(&server.secret));
        for (name, value) in [
            ("cache-control", "no-store"),
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
        ] {
            assert_eq!(answer.header(name), Some(value));
        }
        let policy = answer.header("content-security-policy").expect("a policy");
        assert!(policy.starts_with("default-src 'none'; script-src 'sha256-"), "{policy}");
        assert!(policy.contains("; connect-src 'self'; ") && policy.ends_with("; frame-ancestors 'none'"), "{policy}");
        assert!(!policy.contains("unsafe") && !policy.contains('*'), "{policy}");
    }
    let named = format!("localhost:{}", server.port);
    assert_eq!(server.ask("GET /now", &[own, ("Host", named.as_str())]).status, 200);
}

/// Three hundred bodies that no page sends: each is refused, and nothing has changed.
#[test]
fn hostile_bodies_change_nothing() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let before = server.now(&cookie);
    let long = "9".repeat(400);
    let deep = format!("{}{}", "[".repeat(20_000), "]".repeat(20_000));
    let values = [
        "",
        "null",
        "[]",
        "{}",
        "7",
        "\"text\"",
        "{\"base\":1",
        "{\"base\":-1}",
        "{\"base\":1.5}",
        "{\"base\":\"1\"}",
        "{\"base\":2,\"text\":\"\",\"hash\":\"\"}",
        "\u{0}",
        "{\"base\":18446744073709551616}",
        &long,
        &deep,
        "\u{feff}{}",
        "{\"base\":2,\"edits\":[{\"do\":\"set\",\"at\":[],\"to\":1}]}",
        "{\"base\":2,\"edits\":7,\"do\":\"all\",\"name\":\"../x\"}",
        "{\"text\":\"x\"}",
        "{\"hash\":\"x\"}",
        "{\"base\":1,\"base\":1,\"text\":[]}",
    ];
    let mut refused = 0;
    let paths = [
        "POST /edit",
        "PUT /text",
        "POST /undo",
        "POST /redo",
        "POST /save",
        "POST /take",
        "POST /files",
        "POST /begin",
    ];
    for path in paths {
        for value in values {
            for kind in ["application/json", "text/plain"] {
                let answer = server.send_body(&cookie, path, kind, value);
                assert!((400..500).contains(&answer.status), "{path} {kind} {value:.60}: {}", answer.status);
                refused += 1;
            }
        }
    }
    assert_eq!(refused, 336);
    let now = server.now(&cookie);
    assert_eq!((&now["desk"], &now["edition"]), (&before["desk"], &before["edition"]));
    // Without an origin, or more than a patch can be.
    let host = ("Cookie", cookie.as_str());
    assert_eq!(server.ask("POST /undo", &[host]).status, 403);
    let origin = format!("http://127.0.0.1:{}", server.port);
    let large = [host, ("Origin", origin.as_str()), ("Content-Length", "4000000")];
    assert_eq!(server.ask("PUT /text", &large).status, 413);
    assert_eq!(server.ask("GET /text", &[host]).status, 405);
}
