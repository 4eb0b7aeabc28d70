//! The description of all questions, made from [`Endpoint`] and [`crate::shape`].

use utoipa::ToSchema;
use utoipa::openapi::path::{HttpMethod, OperationBuilder, ParameterBuilder, ParameterIn};
use utoipa::openapi::request_body::RequestBodyBuilder;
use utoipa::openapi::response::ResponseBuilder;
use utoipa::openapi::schema::{KnownFormat, ObjectBuilder, SchemaFormat, Type};
use utoipa::openapi::security::{ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::openapi::{
    ComponentsBuilder, ContentBuilder, InfoBuilder, OpenApi, OpenApiBuilder, PathItem, PathsBuilder, Ref,
    RefOr, Required, SecurityRequirement,
};

use crate::endpoint::{Content, Endpoint, Form, Method, Parameter, Place, ROOT};
use crate::shape;

/// The description as it is served and committed: JSON of `OpenAPI` 3.1.
///
/// # Panics
/// Never: it holds nothing that JSON can't.
pub fn text() -> String {
    let text = serde_json::to_string_pretty(&description()).expect("named fields and texts are JSON");
    text + "\n"
}

fn description() -> OpenApi {
    let paths = Endpoint::ALL.into_iter().fold(PathsBuilder::new(), |paths, endpoint| {
        let method = match endpoint.method() {
            Method::Get => HttpMethod::Get,
            Method::Post => HttpMethod::Post,
        };
        let item = PathItem::new(method, operation(endpoint));
        paths.path(format!("{ROOT}{}", endpoint.path()), item)
    });
    let words = SecurityRequirement::new("word", <[&str; 0]>::default());
    let cookies = SecurityRequirement::new("login", <[&str; 0]>::default());
    OpenApiBuilder::new()
        .info(
            InfoBuilder::new()
                .title("overwinter: the log of a site")
                .version("1")
                .description(Some(
                    "Times are RFC 3339 in UTC; units stand in the names. What is wrong is said by RFC 9457.",
                ))
                .build(),
        )
        .paths(paths.build())
        .components(Some(components().build()))
        .security(Some([words, cookies]))
        .build()
}

fn operation(endpoint: Endpoint) -> OperationBuilder {
    let mut operation = OperationBuilder::new()
        .operation_id(Some(endpoint.name()))
        .summary(Some(endpoint.about()))
        .response("200", answer(endpoint))
        .response("default", problem());
    for one in endpoint.parameters() {
        operation = operation.parameter(parameter(*one));
    }
    match endpoint.sends() {
        None => operation,
        Some(name) => {
            let content = ContentBuilder::new().schema(Some(Ref::from_schema_name(name))).build();
            let body =
                RequestBodyBuilder::new().required(Some(Required::True)).content("application/json", content);
            operation.request_body(Some(body.build()))
        }
    }
}

fn answer(endpoint: Endpoint) -> ResponseBuilder {
    let (media, content) = match endpoint.answers() {
        Content::Shape(name) => {
            ("application/json", ContentBuilder::new().schema(Some(Ref::from_schema_name(name))))
        }
        Content::Media(media) => (media, ContentBuilder::new()),
    };
    ResponseBuilder::new().description("what was asked for").content(media, content.build())
}

fn problem() -> ResponseBuilder {
    let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).build();
    ResponseBuilder::new()
        .description("what is wrong, and what to do")
        .content("application/problem+json", content)
}

fn parameter(parameter: Parameter) -> ParameterBuilder {
    let schema = match parameter.form {
        Form::Text => ObjectBuilder::new().schema_type(Type::String),
        Form::Number => ObjectBuilder::new().schema_type(Type::Integer),
        Form::Time => ObjectBuilder::new()
            .schema_type(Type::String)
            .format(Some(SchemaFormat::KnownFormat(KnownFormat::DateTime))),
    };
    let (place, needed) = match parameter.place {
        Place::Path => (ParameterIn::Path, Required::True),
        Place::Needed => (ParameterIn::Query, Required::True),
        Place::Optional => (ParameterIn::Query, Required::False),
    };
    ParameterBuilder::new()
        .name(parameter.name)
        .parameter_in(place)
        .required(needed)
        .description(Some(parameter.about))
        .schema(Some(schema.build()))
}

/// A shape and those that it is made of.
fn with<T: ToSchema>(components: ComponentsBuilder) -> ComponentsBuilder {
    let mut parts = Vec::new();
    T::schemas(&mut parts);
    parts.push((T::name().into_owned(), T::schema()));
    let add =
        |components: ComponentsBuilder, (name, schema): (String, RefOr<_>)| components.schema(name, schema);
    parts.into_iter().fold(components, add)
}

fn components() -> ComponentsBuilder {
    let bare = ComponentsBuilder::new();
    let looked_at =
        with::<shape::Gateways>(with::<shape::Frames>(with::<shape::Series>(with::<shape::Nodes>(with::<
            shape::Me,
        >(
            bare
        )))));
    let looked_at = with::<shape::Settings>(with::<shape::Alarms>(looked_at));
    let told = with::<shape::Wanted>(with::<shape::NewSetting>(with::<shape::NewSeen>(looked_at)));
    let done = with::<shape::VisitNoted>(with::<shape::NewVisit>(with::<shape::Visits>(told)));
    let word = HttpBuilder::new()
        .scheme(HttpAuthScheme::Bearer)
        .description(Some(
            "The word of a program: `overwinter people SITE.toml token NAME PROGRAM --may read`",
        ))
        .build();
    with::<shape::Problem>(done)
        .security_scheme("word", SecurityScheme::Http(word))
        .security_scheme("login", SecurityScheme::ApiKey(ApiKey::Cookie(ApiKeyValue::new("overwinter"))))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use serde_json::Value;

    use super::*;

    fn whole() -> Value {
        serde_json::from_str(&text()).expect("JSON")
    }

    fn references(value: &Value, found: &mut BTreeSet<String>) {
        match value {
            Value::Object(members) => {
                found.extend(members.get("$ref").and_then(Value::as_str).map(str::to_owned));
                members.values().for_each(|value| references(value, found));
            }
            Value::Array(elements) => elements.iter().for_each(|value| references(value, found)),
            _ => {}
        }
    }

    /// `OpenAPI` 3.1, its root object and the object of references.
    #[test]
    fn every_question_is_described_and_every_reference_leads_somewhere() {
        let whole = whole();
        assert!(
            whole["openapi"].as_str().is_some_and(|version| version.starts_with("3.1")),
            "{}",
            whole["openapi"]
        );
        for endpoint in Endpoint::ALL {
            let method = if endpoint.method() == Method::Get { "get" } else { "post" };
            let operation = &whole["paths"][format!("{ROOT}{}", endpoint.path())][method];
            assert_eq!(operation["operationId"], endpoint.name());
            let count = operation["parameters"].as_array().map_or(0, Vec::len);
            assert_eq!(count, endpoint.parameters().len(), "{endpoint:?}");
            assert_eq!(
                endpoint.path().contains('{'),
                count > 0 && operation["parameters"][0]["in"] == "path"
            );
        }
        let mut found = BTreeSet::new();
        references(&whole, &mut found);
        assert!(found.len() >= 15, "{found:?}");
        for reference in found {
            let name = reference.strip_prefix("#/components/schemas/").expect("a shape");
            assert!(whole["components"]["schemas"][name].is_object(), "{name}");
        }
    }

    #[test]
    fn every_member_is_explained_and_nothing_is_a_tuple() {
        let whole = whole();
        for (name, schema) in whole["components"]["schemas"].as_object().expect("shapes") {
            for (member, schema) in schema["properties"].as_object().expect("named fields") {
                let whole = schema.to_string();
                assert!(whole.contains("\"description\""), "{name}.{member}: {whole}");
                assert!(!whole.contains("prefixItems"), "{name}.{member}: {whole}");
            }
        }
    }
}
