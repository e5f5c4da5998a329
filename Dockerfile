# The service in a container: no root, one volume, one port (8080).
#   docker build -t irrigationfhir .
#   docker run -p 8080:8080 -v irrigation-data:/data irrigationfhir
FROM mcr.microsoft.com/dotnet/sdk:10.0 AS build
WORKDIR /source

# What decides on packages comes first, so that a change of code does not fetch them again.
COPY global.json Directory.Build.props Directory.Packages.props .editorconfig ./
COPY src/Irrigation/Irrigation.csproj src/Irrigation/packages.lock.json src/Irrigation/
COPY src/IrrigationFhir/IrrigationFhir.csproj src/IrrigationFhir/packages.lock.json src/IrrigationFhir/
RUN dotnet restore src/IrrigationFhir --locked-mode

COPY src/ src/
COPY openapi/ openapi/
RUN dotnet publish src/IrrigationFhir --configuration Release --no-restore --output /app -p:UseAppHost=false -p:OpenApiGenerateDocumentsOnBuild=false

FROM mcr.microsoft.com/dotnet/aspnet:10.0
WORKDIR /app
COPY --from=build /app ./
# Owned by the image's unprivileged user before it becomes a volume: a new volume takes over the owner.
RUN mkdir /data && chown $APP_UID /data
ENV Data__Folder=/data
VOLUME /data
EXPOSE 8080
USER $APP_UID
# There is no other HTTP client in this image; 60 s for the profiles to be validated once.
HEALTHCHECK --interval=30s --timeout=10s --start-period=60s --retries=3 CMD ["dotnet", "IrrigationFhir.dll", "health"]
ENTRYPOINT ["dotnet", "IrrigationFhir.dll"]
